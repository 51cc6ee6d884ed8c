"""Judging a draft by the truth: what is sure is read by it and compared; what can't be told must not be sure."""

from datetime import date
from pathlib import Path
from typing import NamedTuple

import numpy as np
import polars as pl

from drafting.foreign_logs import QUANTITY, ForeignLog
from pipeline.collect.drafting.draft import draft_layout
from pipeline.collect.drafting.drafted import Draft
from pipeline.collect.layout import standardise
from pipeline.collect.new_command import shape_of_log
from pipeline.collect.read import open_log
from pipeline.collect.rows_taken import RowsFound
from pipeline.configuration.layouts import Layout, LogFile
from pipeline.configuration.study import LogEntry
from pipeline.errors import UserError

TODAY = date(2026, 11, 20)


class Judged(NamedTuple):
    """What became of a draft."""

    verdict: str
    """right, asked (something that could be told was left open) or wrong (something sure isn't so)."""
    why: str


def judge(log: ForeignLog, folder: Path) -> Judged:
    """Draft a log's layout and judge it."""
    path = folder / log.name
    path.write_bytes(log.content)
    try:
        draft = draft_layout(shape_of_log(path), TODAY)
    except UserError as error:
        return Judged("asked", f"no draft: {error}")
    if faults := _faults(draft, log, path):
        return Judged("wrong", "; ".join(faults))
    open_ = [name for name in log.headers if name not in log.untellable and not _sure(draft, name)]
    if log.others and not (draft.rows is not None and draft.rows.sure):
        open_.append("rows")
    told = [f"{name}: {draft.columns[name].why if name in draft.columns else 'not found'}" for name in open_]
    return Judged("asked", "; ".join(told)) if open_ else Judged("right", "")


def _sure(draft: Draft, name: str) -> bool:
    return name in draft.columns and draft.columns[name].sure


def _faults(draft: Draft, log: ForeignLog, path: Path) -> list[str]:
    """List what is sure and isn't so."""
    sure = {name: choice.options[0] for name, choice in draft.columns.items() if choice.sure}
    extra = {"device": "Device", "launch_side_deg": "Launch direction"}
    faults = [f"{name} from {place.source!r}" for name, place in sure.items()
              if place.source != log.headers.get(name, extra.get(name))]  # fmt: skip
    faults += [f"{name} is sure, and nobody could know" for name in sure if name in log.untellable]
    if faults or not sure:
        return faults
    raw = draft.raw_layout()
    if draft.rows is not None and not draft.rows.sure:
        raw.pop("rows")
    if "struck_at" not in sure:  # rows can't be standardised without any time
        raw["columns"]["struck_at"] = {"from": log.headers["struck_at"]}
    layout = Layout.model_validate(raw)
    read, left_out = _read(path, layout, list(layout.columns))
    if draft.rows is not None and draft.rows.sure:
        faults += [f"{left_out} rows left out of {log.others}"] * (left_out != log.others)
    elif log.others:
        return faults  # open: the rows of other clubs are still there
    if read["row"].to_list() != log.truth["row"].to_list():
        return [*faults, f"rows {read.height} of {log.truth.height}"]
    return faults + [fault for name in sure for fault in _differs(name, read, log.truth)]


def _read(path: Path, layout: Layout, names: list[str]) -> tuple[pl.DataFrame, int]:
    log_file = LogFile(source=path.name, entry=LogEntry(files="*"), layout=layout)
    with open_log(path, layout) as opened:
        headers = [header.strip() for header in opened.headers]
        positions = {name: headers.index(layout.columns[name].source) for name in names}
        taken = RowsFound.of(opened.headers, layout)
        pieces = [standardise(taken.take(raw), log_file, typed_as_text=opened.typed_as_text)
                  for raw in opened.batches(positions | taken.positions)]  # fmt: skip
    return pl.concat(pieces), taken.left_out


def _differs(name: str, read: pl.DataFrame, truth: pl.DataFrame) -> list[str]:
    if name == "golfer":
        return ["names"] * (read["golfer"].to_list() != truth["golfer"].to_list())
    if name == "struck_at":
        days = read["struck_on"].to_list() != truth["at"].dt.date().to_list()
        # Offsets move the second, not the minute of the hour.
        minutes = (read["second"] // 60 % 60).to_list() != truth["at"].dt.minute().cast(pl.Int64).to_list()
        return ["days"] * days + ["minutes"] * minutes
    if name not in QUANTITY:
        return []
    values, true = read[name].to_numpy(), truth[name].to_numpy()
    known = ~np.isnan(values)
    scale = {"speed": 0.4, "distance": 0.4, "spin": 35, "angle": 0.12}[QUANTITY[name]]
    off = np.abs(values[known] - true[known])
    return [f"{name} off by {off.max():.3g}"] * bool(known.mean() < 0.8 or off.max() > scale)
