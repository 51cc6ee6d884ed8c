"""Checking many small logs at once: text logs of one description and one header are read as if they were one.

A log by itself costs some hundred calls of the data frame library whatever its size, so thousands of small ones would
take many minutes. Only plain logs are taken: UTF-8 without quotation marks, every line with the header's number of
cells. All others are left to the way that takes one log at a time, and so is a group that turns out not to be plain.
"""

import hashlib
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.collect.clean_log import masked, matched_columns, texts_kept
from pipeline.collect.layout import standardise
from pipeline.collect.name_words import alike_key
from pipeline.collect.opened_log import LogRefusedError, OpenLog
from pipeline.collect.plausible import Impression, fly_together
from pipeline.collect.read import open_log
from pipeline.collect.receipt import Receipt
from pipeline.collect.rules import Split, split
from pipeline.collect.sample import LEAST_ROWS
from pipeline.collect.times import latest_day
from pipeline.collect.withheld import Names, clean_texts, holds_name, known_names, shown_headers
from pipeline.configuration.layouts import LogFile
from pipeline.tables.logs import OPTIONAL_NUMBERS

SMALL_BYTES = 1 << 16
_TOGETHER_BYTES = 4_000_000  # of a group


class CheckedLog(NamedTuple):
    """What a check found in one log."""

    receipt: Receipt
    broken: list[tuple[str, str, int]]
    """Rule, column and number of rows, in order."""
    golfers: set[tuple[str, str, str]]
    """Pseudonym, words in any order, and source of golfers whose first log by source this is."""
    standard: Counter[str]
    """Of a group, all in its first log: accepted drives with a number in each column that may be a regressor."""


@dataclass
class _Group:
    header: bytes
    logs: list[LogFile] = field(default_factory=list)
    bodies: list[bytes] = field(default_factory=list)
    sums: list[str] = field(default_factory=list)

    @property
    def size(self) -> int:
        return sum(map(len, self.bodies))


def check_together(folder: Path, logs: Sequence[LogFile], key: bytes) -> Iterator[dict[str, CheckedLog]]:
    """Check the plain small logs of a study, a group at a time.

    Parameters
    ----------
    folder : Path
        The study's folder.
    logs : sequence of LogFile
    key : bytes
        The study's key.

    Yields
    ------
    dict of str to CheckedLog
        Source: what was found. A log that is in none must be checked by itself.
    """
    groups: dict[tuple[str, bytes], _Group] = {}
    for log in logs:
        if (plain := _plain(folder / log.source, log)) is None:
            continue
        header, body, digest = plain
        kind = (log.model_copy(update={"source": ""}).model_dump_json(by_alias=True), header)
        group = groups.setdefault(kind, _Group(header))
        group.logs.append(log)
        group.bodies.append(body)
        group.sums.append(digest)
        if group.size > _TOGETHER_BYTES:
            yield _checked(groups.pop(kind), key)
    for group in groups.values():
        yield _checked(group, key)


def _plain(path: Path, log: LogFile) -> tuple[bytes, bytes, str] | None:
    """Give header, rows and digest of a plain small log; None of another."""
    layout = log.layout
    is_special = layout.skip_rows or layout.skip_after_header or layout.rows or layout.encoding != "utf-8"
    if not path.name.lower().endswith(".csv") or log.regressors or is_special:
        return None
    try:
        if path.stat().st_size > SMALL_BYTES:
            return None
        data = path.read_bytes()
        data.decode("utf-8")
    except (OSError, UnicodeDecodeError):
        return None
    text = data.replace(b"\r\n", b"\n")
    header, _, body = text.partition(b"\n")
    if (
        not header
        or not body.endswith(b"\n")
        or any(sign in text for sign in (b'"', b"\0", b"\r", b"\n\n", b"\xef\xbb\xbf"))
    ):
        return None
    delimiter = layout.delimiter.encode()
    cells = header.count(delimiter)
    if any(line.count(delimiter) != cells for line in body[:-1].split(b"\n")):
        return None
    return header, body, hashlib.sha256(data).hexdigest()


def _checked(group: _Group, key: bytes) -> dict[str, CheckedLog]:
    """Check a group; one that can't be read as a whole, or a log that is refused, is left out."""
    with tempfile.TemporaryDirectory(prefix="yardband-") as folder:
        place = Path(folder) / "logs.csv"
        place.write_bytes(b"".join([group.header, b"\n", *group.bodies]))
        try:
            with open_log(place, group.logs[0].layout) as opened:
                return _found(group, opened, key)
        except LogRefusedError:
            return {}


def _found(group: _Group, opened: OpenLog, key: bytes) -> dict[str, CheckedLog]:
    first = group.logs[0]
    matched = matched_columns(opened, first)
    raw = pl.concat(list(opened.batches(matched.positions)))
    ends = np.cumsum([body.count(b"\n") for body in group.bodies])
    place = pl.Series("log", np.searchsorted(ends, raw["row"].to_numpy() - 1, side="right"))
    names = known_names(opened.distinct(matched.positions["golfer"]))
    read = clean_texts(standardise(raw, first, typed_as_text=False), list(texts_kept(first)))
    withheld = _withheld(read, place, first, names)
    pseudonyms: dict[str, str] = {}
    # A pseudonym, and not a source, is what the rules of a row look at; the rows' numbers tell the logs apart.
    sourced = read.with_columns(source=pl.lit(first.source))
    parts = split(masked(sourced, first, key, pseudonyms), latest_day(date.today()), first.table)
    rows = np.bincount(place.to_numpy(), minlength=len(group.logs))
    rejected = parts.rejected.join(pl.DataFrame([raw["row"], place]), on="row", maintain_order="left")
    broken: defaultdict[int, list[tuple[str, str, int]]] = defaultdict(list)
    for log, rule, column, number in rejected.group_by("log", "rule", "column").len().sort(pl.all()).iter_rows():
        broken[log].append((rule, column, number))
    impressions, refused = _impressions(read.with_columns(place), rejected, rows, first)
    golfers = _golfers(read.with_columns(place), group.logs, pseudonyms)
    dropped = shown_headers(opened.headers, opened.used(matched.positions.values()), names)
    absent = [name for name in matched.absent if name not in first.required] if first.entry.layout else []
    standard = Counter(parts.accepted.select(pl.col(OPTIONAL_NUMBERS).count()).row(0, named=True))
    found: dict[str, CheckedLog] = {}
    for number, log in enumerate(group.logs):
        if number in refused:
            continue
        impression = impressions.get(number)
        bad = sum(count for _, _, count in broken[number])
        receipt = Receipt(
            source=log.source,
            sha256=group.sums[number],
            status="used",
            rows=int(rows[number]),
            accepted=int(rows[number]) - bad,
            rejected=bad,
            dropped=dropped,
            absent=absent,
            withheld=withheld.get(number, {}),
            named_file=holds_name(log.source, names, parts=False),
            notes=[] if impression is None else impression.remarks(),
            carry_over_flight=None if impression is None else impression.carry_over_flight(),
        )
        found[log.source] = CheckedLog(receipt, broken[number], golfers.get(log.source, set()), standard)
        standard = Counter()
    return found


def _withheld(read: pl.DataFrame, place: pl.Series, log: LogFile, names: Names) -> dict[int, dict[str, int]]:
    """Count the cells of each log that hold a golfer's name, by column."""
    found: defaultdict[int, dict[str, int]] = defaultdict(dict)
    for column, constant in texts_kept(log).items():
        texts = read[column].drop_nulls().unique().to_list()
        named = [text for text in texts if text != constant and holds_name(text, names, parts=True)]
        if named:
            for number, count in place.filter(read[column].is_in(named)).value_counts(sort=True).iter_rows():
                found[number][column] = count
    return {number: dict(sorted(counts.items())) for number, counts in found.items()}


def _impressions(
    read: pl.DataFrame, rejected: pl.DataFrame, rows: np.ndarray, log: LogFile
) -> tuple[dict[int, Impression], set[int]]:
    """Look at each log as a whole where there is anything to see; give these, and the logs that are refused."""
    odd = set(rejected["log"].unique()) | set(read.filter("only_exchanged")["log"].unique())
    impressions: dict[int, Impression] = {}
    starts = np.cumsum(rows) - rows
    for number in np.flatnonzero(rows).tolist():
        if rows[number] < LEAST_ROWS and number not in odd:
            continue  # too few drives to judge by, and none of them odd
        impression = Impression(log.layout)
        piece = read.slice(int(starts[number]), int(rows[number]))
        impression.take(piece, Split(piece.clear(), rejected.filter(pl.col("log") == number)))
        impressions[number] = impression
    refused = {number for number, impression in impressions.items() if impression.refusal() is not None}
    fly_together([impression for number, impression in impressions.items() if number not in refused])
    return impressions, refused


def _golfers(
    read: pl.DataFrame, logs: Sequence[LogFile], pseudonyms: dict[str, str]
) -> dict[str, set[tuple[str, str, str]]]:
    """Give the golfers with the first of the logs, by source, that each is in."""
    sources = [log.source for log in logs]
    order = np.argsort(np.argsort(sources))
    by_source = np.argsort(sources)
    first = (
        read.select("golfer", rank=pl.Series(order)[read["log"]])
        .drop_nulls()
        .group_by("golfer")
        .agg(pl.col("rank").min())
    )
    found: defaultdict[str, set[tuple[str, str, str]]] = defaultdict(set)
    for name, rank in first.iter_rows():
        source = sources[by_source[rank]]
        if (alike := alike_key(name)) is not None:
            found[source].add((pseudonyms[name], alike, source))
    return found
