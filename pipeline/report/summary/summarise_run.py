"""Step: sum up a run: run.json for the record, summary.txt for whoever started it.

In: the study's tables, the pages, drives.parquet, model.json, calibration.json, the newest fit's verdict.json where the
run judges one, the secret key, of which a fingerprint is kept, other files of the study that were read, and what the
run made. Out: run.json (configuration as resolved, layouts, versions of code and packages, model, calibration, hashes
and rows of every log, hashes of what was made) and summary.txt (what was made, what was refused, what to open).
"""

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.collect.key import fingerprint_of, read_key
from pipeline.edge.artefacts import read_artefact, read_json
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import path_of_result, write_json, write_text
from pipeline.edge.made_by import all_packages, code_version
from pipeline.edge.result_files import digest_of
from pipeline.edge.tables_file import read_table, read_tables
from pipeline.fit.kept import find_kept, model_in_use
from pipeline.fit.model import FittedModel
from pipeline.fit.model_changes import levels_without_term, plain
from pipeline.fit.verdict import ModelInUse, in_use_lines
from pipeline.report.summary.coach_facts import FIRST_WORDS, goal_facts, practice_facts, progress_facts
from pipeline.report.summary.summary_words import CAUTION, alike_lines
from pipeline.shown import number_text
from pipeline.tables.devices import Devices
from pipeline.tables.figures import Scores
from pipeline.tables.goals import Goals, Priorities
from pipeline.tables.golfers import Golfers
from pipeline.tables.logs import Sources
from pipeline.tables.practice import Practice
from pipeline.tables.progress import Cohorts

Facts = Mapping[str, Any]


def run(
    tables: Sequence[str],
    scores: str,
    page: str,
    lookup: str,
    drives: str,
    model: str,
    which: str,
    calibration: str,
    record: str,
    summary: str,
    key: str,
    made: Sequence[str],
    inputs: Sequence[str],
    out: str,
    about: dict[str, Any],
    choice: dict[str, Any],
    speed_sources: str | None = None,
) -> None:
    """Run the step; see the module's docstring. `choice` is the `Choice` of the model in use."""
    read, own = read_tables([*tables, scores]), partial(path_of_result, out=out)
    logs, golfers = read[Sources], read[Golfers]
    used = model_in_use(choice, model, which)
    speed_logs = read_table(speed_sources, Sources).to_dicts() if speed_sources else []
    told = {**about, "sources": logs.to_dicts(), "speed_sources": speed_logs, "calibration": read_json(calibration)}
    told |= {"model": in_use_record(used) | {"file": own(model), "drives": own(drives)}}
    told |= {"made": _digests(made, own, out), "inputs": _digests(inputs, str, about["folder"])}
    told |= {"key": _key_fingerprint(Path(key), about), "kept": [one.id for one in find_kept(Path(out) / "model/kept")]}
    write_json(Path(record), told | {"code": code_version(), "versions": all_packages()})
    every = open_drives(Path(drives), ("golfer", "device", "ball"))
    on_model = model_lines(used, levels_without_term(read_artefact(model, FittedModel).model, every))
    facts = coach_lines(
        progress_facts(read[Cohorts], str(golfers["quarter"].max())),
        goal_facts(read[Goals], read[Priorities]),
        practice_facts(read.get(Practice), None),
    )
    facts += pages_lines(own(page), own(lookup))
    lines = summary_lines(golfers, read[Scores], logs, device_lines(read[Devices]), facts, on_model)
    write_text(Path(summary), "\n".join(lines) + "\n")


def _digests(paths: Sequence[str], own: Callable[[str], str], folder: str) -> dict[str, str]:
    """Digest files, by their own path in a folder."""
    return {os.path.relpath(own(path), folder): digest_of(Path(path)) for path in sorted(paths, key=own)}


def _key_fingerprint(key: Path, about: Mapping[str, Any]) -> str:
    return fingerprint_of(read_key(key, about["configuration"]["study"]))


def device_lines(devices: pl.DataFrame) -> list[str]:
    """Say what was found of each device but the reference; `devices` is the table `Devices`."""
    notes = devices.select("device", "note").unique(maintain_order=True).get_column("note")
    return [f"Device: {note}." for note in notes]


def in_use_record(used: ModelInUse) -> dict[str, Any]:
    """Give what run.json says of the model in use, without nesting."""
    found = asdict(used)
    return {**found.pop("choice"), "kept": used.choice.kept, **found}


def model_lines(used: ModelInUse, without_term: Sequence[tuple[str, str, int]]) -> list[str]:
    """Tell which model golfers were held against, and which devices and balls it has no term for.

    Parameters
    ----------
    used : ModelInUse
    without_term : sequence of (str, str, int)
        From `levels_without_term`.

    Returns
    -------
    list of str
    """
    lines = [f"  {line}" for line in in_use_lines(used)]
    lines += [
        f"  It has no term for {column} {plain(level)} ({count:,} drives) and takes it for its own reference {column}."
        for column, level, count in without_term
    ]
    return lines


def coach_lines(progress: Facts | None, goals: Facts, practice: Facts | None) -> list[str]:
    """Tell progress, goals and speed practice in a line each.

    Parameters
    ----------
    progress, goals, practice : mapping
        From `progress_facts`, `goal_facts` and `practice_facts` of `pipeline.report.summary.coach_facts`.

    Returns
    -------
    list of str
        None of progress where nobody is compared, and none of practice where the study has no speed logs.
    """
    lines = []
    if progress is not None and progress["suppressed"]:
        lines.append("Progress: too few golfers were compared with an earlier quarter to show it.")
    elif progress is not None:
        lines.append(
            f"Progress: {progress['golfers']} golfers compared with an earlier quarter; carry better for "
            f"{progress['carry_better']}, worse for {progress['carry_worse']}; yards lost better for "
            f"{progress['lost_better']}, worse for {progress['lost_worse']}."
        )
    gap = "" if goals["gap_yd"] is None else f", median gap {number_text(goals['gap_yd'])} yd"
    first = ", ".join(f"{FIRST_WORDS[name]} {count}" for name, count in goals["firsts"])
    lines.append(
        f"Goals: {goals['with_goal']} of {goals['golfers']} golfers have one, {goals['open']} not reached yet{gap}"
        f"{f'; to work on first: {first}' if first else ''}."
    )
    if practice is not None:
        lines.append(
            f"Speed practice: {practice['golfers']} golfers, {practice['trends']['gaining']} gaining, "
            f"{practice['projections']['dated']} with a day for the next band."
        )
    return lines


def pages_lines(page: str, lookup: str) -> list[str]:
    """Tell what to open: the academy's page and the coach's."""
    return [
        f"Open {page}: the quarter, every golfer's story and the sheet that it prints.",
        f"Open {lookup}: how far a drive should go, for the coach's phone.",
    ]


def summary_lines(
    golfers: pl.DataFrame,
    scores: pl.DataFrame,
    sources: pl.DataFrame,
    devices: Sequence[str],
    made: Sequence[str],
    about: Sequence[str],
) -> list[str]:
    """Tell a run's outcome in a few lines of plain text.

    Parameters
    ----------
    golfers, scores, sources : DataFrame
        The tables `Golfers`, `Scores` and `Sources`.
    devices : sequence of str
        From `device_lines`.
    made : sequence of str
        From `coach_lines` and `pages_lines`.
    about : sequence of str
        From `model_lines`.

    Returns
    -------
    list of str
    """
    rows, accepted, rejected, duplicates = (
        int(sources.get_column(c).sum()) for c in ("rows", "accepted", "rejected", "duplicates")
    )
    refused = sources.filter(pl.col("status") == "refused").sort("source")
    newest = golfers.filter(pl.col("quarter") == pl.col("quarter").max())
    assessed = newest.filter(pl.col("status") != "not_assessed")
    flagged = newest.filter("flagged")
    chosen = scores.filter("chosen").row(0, named=True)
    return [
        "",
        f"Logs: {sources.height - refused.height} used, {refused.height} refused. Rows: {rows:,} = {accepted:,} "
        f"accepted + {rejected:,} rejected + {duplicates:,} duplicates.",
        *(f"  refused: {row['source']}: {row['reason']}" for row in refused.iter_rows(named=True)),
        *alike_lines(sources),
        *devices,
        f"Model: {chosen['model']}, rms error {number_text(chosen['rmse_yd'], 1)} yd on golfers held out of the fit.",
        *about,
        f"{newest.item(0, 'quarter')}: {assessed.height} of {newest.height} golfers assessed, "
        f"{flagged.height} flagged, {number_text(_sum(flagged, 'lost_yd'))} yd lost by them together "
        f"({number_text(_sum(flagged, 'ranked_lost_yd'))} yd with luck taken out).",
        *made,
        CAUTION,
    ]


def _sum(flagged: pl.DataFrame, name: str) -> float:
    # Where too few golfers are there to tell luck, the plain figure stands in.
    return float(flagged.select(pl.coalesce(name, "lost_yd").sum()).item())
