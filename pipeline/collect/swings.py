"""Swings without a ball: from a log's own columns to accepted swings, duplicates and sets (pure: touches no file).

The golfer, the time and the speed are read as those of a shot log; `set_no` and `tool` are a speed log's own.
"""

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

import polars as pl

from pipeline.collect.layout import MISSING_NUMBER, Matched, match_headers, standardise
from pipeline.collect.pseudonym import mask
from pipeline.collect.rules import Split
from pipeline.configuration.layouts import Layout, LogFile, SpeedFile, SpeedLayout
from pipeline.configuration.study import LogEntry
from pipeline.tables.logs import Rejects
from pipeline.tables.practice import COLUMN_OF_SWING_RULE, SWING_COLUMNS, SWING_REQUIRED, TOOLS, Swings

# Swings farther apart than this belong to two sets: within one they follow each other within a minute, between sets
# people rest (common practice, no source).
SET_GAP_S = 180

# Readings of one swing in two exports differ by half a step of each one's rounding: 0.1 m/s (0.22 mph) and 0.1 mph.
SAME_SPEED_MPH = 0.25

# Median speeds of a log beyond these look like another unit: 100 mph is 45 m/s and 161 km/h.
USUAL_MEDIAN_MPH = (50.0, 145.0)
LEAST_ROWS = 20  # below this a median of swings says little

_AS_SHOT = {"golfer": "golfer", "swung_at": "struck_at", "club_speed_mph": "club_speed_mph"}
_AS_SWING = {"struck_at": "swung_at"}
_LAST_DAY = date(2099, 12, 31)


class Deduplicated(NamedTuple):
    """Swings of all logs, told apart from those that are there twice."""

    swings: pl.DataFrame
    duplicates: dict[str, int]
    """Source: how many of its swings an earlier row holds."""


def match_swing_headers(headers: Sequence[str], layout: SpeedLayout) -> Matched:
    """Find the columns of a speed log among its headers, as `layout.match_headers` does for a shot log."""
    return match_headers(headers, layout, SWING_COLUMNS, SWING_REQUIRED)


def standardise_swings(raw: pl.DataFrame, speed_file: SpeedFile, *, typed_as_text: bool) -> pl.DataFrame:
    """Turn cells of a speed log into standard columns in standard units.

    Parameters
    ----------
    raw : pl.DataFrame
        `row`, `ragged`, the required columns and those optional ones that the log has, as the log writes them.
    speed_file : SpeedFile
    typed_as_text : bool
        As for `layout.standardise`.

    Returns
    -------
    pl.DataFrame
        One row per row of `raw`: `row`, `fault_rule` and `fault_column` (null where all was understood), `golfer` as
        written, `swung_on`, `quarter`, `second` (Unix time), `club_speed_mph`, `set_no`, `tool` (a missing one is
        the driver), `only_exchanged`.
    """
    shots = standardise(
        raw.select("row", "ragged", *(pl.col(name).alias(alias) for name, alias in _AS_SHOT.items())),
        _as_shot_log(speed_file),
        typed_as_text=typed_as_text,
    )
    frame = shots.select(
        "row", "golfer", "quarter", "second", "club_speed_mph", "only_exchanged", "fault_rule", "fault_column",
        swung_on="struck_on",
    ).with_columns(_set_no(raw), _tool(raw))  # fmt: skip
    no_set = frame["set_no"].is_null() & ~_is_missing(raw, "set_no")
    faults = [(no_set, "not_a_number", "set_no"), (frame["tool"].is_null(), "not_a_tool", "tool")]
    rule = pl.coalesce("fault_rule", *(pl.when(bad).then(pl.lit(name)) for bad, name, _ in faults))
    column = pl.coalesce("fault_column", *(pl.when(bad).then(pl.lit(name)) for bad, _, name in faults))
    return frame.with_columns(rule.alias("fault_rule"), column.replace(_AS_SWING).alias("fault_column"))


def _as_shot_log(speed_file: SpeedFile) -> LogFile:
    layout = speed_file.layout.model_dump(by_alias=True)
    columns = {_AS_SHOT[name]: column for name, column in layout["columns"].items() if name in _AS_SHOT}
    shot_layout = Layout.model_validate({**layout, "columns": columns})
    return LogFile(source=speed_file.source, entry=LogEntry(files=speed_file.entry.files), layout=shot_layout)


def _texts(raw: pl.DataFrame, name: str) -> pl.Series:
    if name not in raw.columns:
        return pl.repeat(None, raw.height, dtype=pl.String, eager=True)
    return raw[name].cast(pl.String, strict=False).str.strip_chars().str.to_lowercase()


def _is_missing(raw: pl.DataFrame, name: str) -> pl.Series:
    texts = _texts(raw, name)
    # A cell that no text can be made of is not missing, it can't be understood.
    empty = raw[name].is_null() if name in raw.columns else texts.is_null()
    return texts.is_in(MISSING_NUMBER).fill_null(False) | empty


def _set_no(raw: pl.DataFrame) -> pl.Series:
    # Spreadsheets and some typed files hold a set's number as 2.0.
    digits = _texts(raw, "set_no").str.extract(r"^\+?([0-9]+)(?:[.,]0*)?$")
    return digits.cast(pl.Int64, strict=False).alias("set_no")


def _tool(raw: pl.DataFrame) -> pl.Series:
    texts, missing = _texts(raw, "tool"), _is_missing(raw, "tool")
    named = pl.when(missing).then(pl.lit("driver")).when(texts.is_in(TOOLS)).then(texts)
    return pl.select(named.alias("tool")).to_series()


def masked_swings(rows: pl.DataFrame, source: str, key: bytes) -> pl.DataFrame:
    """Replace the names in standardised rows by pseudonyms, the same as those of drives, and name the source."""
    return rows.with_columns(pl.lit(source).alias("source"), mask(rows["golfer"], key, "golfer"))


def split_swings(rows: pl.DataFrame, last_day: date = date.max) -> Split:
    """Split standardised, masked rows into swings and rejected rows, by the order of rules of `rules.split`.

    Parameters
    ----------
    rows : pl.DataFrame
        From `masked_swings`.
    last_day : date
        A later swing lies in the future.

    Returns
    -------
    Split
        `accepted` has the columns of Swings, its `swing_no` still null, and `second`; `rejected` has schema Rejects.
        Together they are all of `rows`.

    Raises
    ------
    RuntimeError
        If a row breaks a rule that no fault of a log can break: a bug.
    """
    ahead = pl.col("fault_rule").is_null() & pl.col("swung_on").is_between(last_day, _LAST_DAY, closed="right")
    rows = rows.with_columns(
        fault_rule=pl.when(ahead).then(pl.lit("in_the_future")).otherwise("fault_rule"),
        fault_column=pl.when(ahead).then(pl.lit("swung_at")).otherwise("fault_column"),
    )
    unread = rows.filter(pl.col("fault_rule").is_not_null())
    read = rows.filter(pl.col("fault_rule").is_null())
    typed = read.with_columns(pl.col("tool").cast(Swings.tool.dtype), pl.lit(None, pl.Int64).alias("swing_no"))
    accepted, failure = Swings.filter(typed.select(Swings.column_names()))
    details = failure.details()
    charges = [charge for charge in _charges() if charge[0] in details.columns]
    broken = [pl.when(pl.col(name) == "invalid").then(pl.lit(rule)) for name, rule, _ in charges]
    where = [pl.when(pl.col(name) == "invalid").then(pl.lit(column)) for name, _, column in charges]
    charged = details.select("source", "row", pl.coalesce(broken).alias("rule"), pl.coalesce(where).alias("column"))
    if charged["rule"].null_count():
        raise RuntimeError("a row broke a rule that no log can break")
    unread = unread.select("source", "row", pl.col("fault_rule").alias("rule"), pl.col("fault_column").alias("column"))
    timed = accepted.join(read.select("row", "second"), on="row", how="left", maintain_order="left")
    return Split(timed, Rejects.validate(pl.concat([unread, charged]).sort("row")))


def _charges() -> list[tuple[str, str, str]]:
    """List dataframely's rule columns in our order, with our name of the rule and the column it is charged to."""
    charged = {"swung_on": "swung_at"}
    missing = [("golfer", "golfer"), ("swung_on", "swung_at"), ("club_speed_mph", "club_speed_mph")]
    charges = [(f"{derived}|nullability", "missing", name) for derived, name in missing]
    for name in ("swung_on", "club_speed_mph", "set_no"):
        charges += [(f"{name}|{end}", f"too_{word}", charged.get(name, name)) for end, word in _BOUNDS]
    return charges + [(rule, rule, column) for rule, column in COLUMN_OF_SWING_RULE.items()]


_BOUNDS = (("min", "low"), ("max", "high"))


def deduplicate(rows: pl.DataFrame) -> Deduplicated:
    """Tell swings that are there twice from the others.

    A duplicate has the golfer, the second and the tool of an earlier row (by source and row) and a speed within
    `SAME_SPEED_MPH`. Where one second of a golfer holds unlike swings, the log's clock doesn't count seconds (nobody
    swings twice in one): then equal speeds of one log are as many swings, and only another log can repeat them, to
    the hundredth.

    Parameters
    ----------
    rows : pl.DataFrame
        `accepted` of `split_swings`, of all logs.
    """
    moment = ["golfer", "second"]
    speed = pl.col("club_speed_mph")
    rows = rows.sort("source", "row").with_columns(
        unlike=(speed.max() - speed.min() > SAME_SPEED_MPH).over(moment) | (pl.col("tool").n_unique() > 1).over(moment),
        rounded=speed.round(2),
    )
    alike = [*moment, "tool", "rounded"]
    rows = rows.with_columns(nth=pl.int_range(pl.len()).over("source", *alike))
    again = (
        pl.when("unlike")
        .then(pl.int_range(pl.len()).over(*alike, "nth"))
        .otherwise(pl.int_range(pl.len()).over(moment))
    )
    rows = rows.with_columns(again=again > 0)
    counts = rows.filter("again").group_by("source").len().sort("source")
    kept = rows.filter(~pl.col("again")).drop("unlike", "rounded", "nth", "again")
    return Deduplicated(kept, {str(source): int(number) for source, number in counts.iter_rows()})


def find_sets(rows: pl.DataFrame) -> pl.DataFrame:
    """Find the sets of each golfer's day and the order of swings in them, then cut the time to the day.

    Parameters
    ----------
    rows : pl.DataFrame
        Swings with `second` and, where the log has it, `set_no`.

    Returns
    -------
    pl.DataFrame
        Schema Swings, by source and row. A set that the log numbers keeps its number. Elsewhere a set ends with a gap
        of more than `SET_GAP_S` or a change of tool, and is numbered after the day's numbered ones. Days whose swings
        all bear one time have no order: `swing_no` is null there, and so is `set_no` unless the log has it.
    """
    day = ["golfer", "swung_on"]
    rows = rows.sort("golfer", "second", "source", "row").with_columns(
        timed=(pl.col("second").n_unique() == pl.len()).over(day) | (pl.col("second").n_unique() > 1).over(day),
        told=pl.col("set_no").is_not_null(),
    )
    untold = [*day, "told"]
    begins = (pl.col("second").diff() > SET_GAP_S).over(untold) | (
        pl.col("tool") != pl.col("tool").shift(1)
    ).over(untold)  # fmt: skip
    place = begins.fill_null(True).cast(pl.Int64).cum_sum().over(untold)
    found = pl.col("set_no").max().over(day).fill_null(0) + place
    rows = rows.with_columns(set_no=pl.when("told").then("set_no").when("timed").then(found))
    order = pl.int_range(1, pl.len() + 1, dtype=pl.Int64).over(*day, "tool", "set_no")
    rows = rows.with_columns(swing_no=pl.when("timed", pl.col("set_no").is_not_null()).then(order))
    return Swings.validate(rows.select(Swings.column_names()).sort("source", "row"))


def swing_remarks(rows: int, split: Split) -> list[str]:
    """Say what looks wrong with a whole log, a clause each; none if nothing does.

    Parameters
    ----------
    rows : int
        All rows of the log.
    split : Split
        What became of them.
    """
    counts = split.rejected.group_by("rule", "column").len()
    most = counts.filter(pl.col("len") * 2 > rows).sort("len", descending=True).head(1)
    if rows > 1 and most.height:
        rule, column, number = most.row(0)
        return [f"{number} of {rows} rows break the rule {rule} in {column}: check its unit, form and header"]
    driver = split.accepted.filter(pl.col("tool") == "driver")["club_speed_mph"]
    lo, hi = USUAL_MEDIAN_MPH
    if len(driver) >= LEAST_ROWS and not driver.is_between(lo, hi).sum() * 2 > len(driver):
        return [f"most of its driver swings lie outside {lo:g} to {hi:g} mph; check the unit of club_speed_mph"]
    return []
