"""Cleaning one speed log: its swings, pseudonymous, its rejected rows, and a receipt (pure: touches no file)."""

from datetime import date
from typing import NamedTuple

import polars as pl

from pipeline.collect.clean_log import NO_ROWS, distinct_in_order
from pipeline.collect.layout import Matched
from pipeline.collect.opened_log import LogRefusedError, OpenLog
from pipeline.collect.receipt import Receipt
from pipeline.collect.rows_taken import RowsFound
from pipeline.collect.rules import Split
from pipeline.collect.swings import (
    masked_swings,
    match_swing_headers,
    split_swings,
    standardise_swings,
    swing_remarks,
)
from pipeline.collect.times import latest_day
from pipeline.collect.withheld import holds_name, known_names, shown_headers
from pipeline.configuration.layouts import SpeedFile
from pipeline.tables.logs import Rejects
from pipeline.tables.practice import SWING_REQUIRED, Swings


class CleanedSwings(NamedTuple):
    """One speed log, cleaned or refused."""

    receipt: Receipt
    split: Split
    """Its accepted swings, with the seconds that must not be stored, and its rejected rows."""


def clean_swings(opened: OpenLog, speed_file: SpeedFile, key: bytes) -> CleanedSwings:
    """Clean and mask the rows of an open speed log.

    Raises
    ------
    LogRefusedError
        If the log can't be used.
    """
    matched = matched_swing_columns(opened, speed_file)
    names = known_names(opened.distinct(matched.positions["golfer"]))
    taken = RowsFound.of(opened.headers, speed_file.layout)
    wanted = matched.positions | taken.positions
    pieces = [
        standardise_swings(taken.take(raw), speed_file, typed_as_text=opened.typed_as_text)
        for raw in opened.batches(wanted)
    ]
    masked = [masked_swings(piece, speed_file.source, key) for piece in pieces]
    _check_days(masked)
    split = joined([split_swings(piece, latest_day(date.today())) for piece in masked])
    rows = sum(piece.height for piece in pieces)
    absent = [name for name in matched.absent if name not in SWING_REQUIRED] if speed_file.entry.layout else []
    receipt = Receipt(
        source=speed_file.source,
        sha256=opened.sha256,
        status="used",
        rows=rows,
        accepted=split.accepted.height,
        rejected=split.rejected.height,
        dropped=shown_headers(opened.headers, opened.used(wanted.values()), names),
        absent=absent,
        withheld={},  # no text of a speed log is stored
        named_file=holds_name(speed_file.source, names, parts=False),
        notes=[
            *opened.notes,
            *([] if rows or taken.left_out else [NO_ROWS]),
            *swing_remarks(rows, split),
            *taken.remarks(rows),
        ],
        left_out=taken.left_out,
    )
    return CleanedSwings(receipt, split)


def joined(splits: list[Split]) -> Split:
    """Put the swings and the rejected rows of several pieces or logs under each other; none are none."""
    nothing = Swings.create_empty().with_columns(pl.lit(None, pl.Int64).alias("second"))
    return Split(
        pl.concat([nothing, *(one.accepted for one in splits)]),
        pl.concat([Rejects.create_empty(), *(one.rejected for one in splits)]),
    )


def matched_swing_columns(opened: OpenLog, speed_file: SpeedFile) -> Matched:
    """Match an open speed log's headers; raise LogRefusedError if required ones are missing."""
    matched = match_swing_headers(opened.headers, speed_file.layout)
    if matched.problems:
        raise LogRefusedError("; ".join(matched.problems))
    return matched


def _check_days(pieces: list[pl.DataFrame]) -> None:
    """Refuse a log more of whose times fit with day and month exchanged than only as the layout says."""
    exchanged = sum(int(piece["only_exchanged"].sum()) for piece in pieces)
    given = sum(int((piece["swung_on"].dt.day() > 12).sum()) for piece in pieces)
    if exchanged > given:
        raise LogRefusedError(
            f"its times fit the layout's format only in part, and {exchanged} more fit with day and month exchanged; "
            "correct the format of 'swung_at'"
        )


def golfers_who_swing(opened: OpenLog, speed_file: SpeedFile) -> list[str]:
    """List the distinct golfers of an open speed log, as `clean_log.golfers_of` does."""
    matched, taken = matched_swing_columns(opened, speed_file), RowsFound.of(opened.headers, speed_file.layout)
    return distinct_in_order(
        standardise_swings(taken.take(raw), speed_file, typed_as_text=opened.typed_as_text)["golfer"]
        for raw in opened.batches(matched.positions | taken.positions)
    )
