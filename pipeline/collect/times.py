"""Times of shots: ISO 8601 or a layout's format, with or without an offset (pure: touches no file)."""

from datetime import date, datetime, timedelta

import polars as pl

from pipeline.configuration.time_format import EPOCHS

# A fraction of a second is allowed and not used: nobody drives twice in a second, and some exports cut it off.
_ISO = (
    r"^([0-9]{4}-[0-9]{2}-[0-9]{2})(?:[Tt ]+([0-9]{2}:[0-9]{2})(?::([0-9]{2})(?:[.,][0-9]+)?)?"
    r"\s*([Zz]|[+-][0-9]{2}(?::?[0-9]{2})?)?)?$"
)
_PLAIN_ISO = "^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}$"
_OFFSET_AT_END = r"\s*([Zz]|[+-][0-9]{2}:?[0-9]{2})$"
_COUNT = r"^[0-9]{1,16}(?:\.[0-9]+)?$"
_LONGEST_OFFSET_MIN = 18 * 60  # ISO 8601 offsets in use lie within 14 h of UTC
# Years beyond these are no times of shots, and calendars of zones don't reach them.
_EARLIEST, _LATEST = datetime(2, 1, 1), datetime(9998, 12, 31)

# A computer whose clock stands before this day is wrong about today: the program was not there yet.
RELEASED = date(2026, 11, 25)


def parse_times(cells: pl.Series, form: str | None, zone: str | None, *, iso_too: bool) -> pl.DataFrame:
    """Read times.

    Parameters
    ----------
    cells : pl.Series
        The cells, text stripped; missing ones null. Text, datetime or date, numbers for `EPOCHS`; any other type
        holds no times.
    form : str or None
        strftime format of text, or one of `EPOCHS`, a count since 1970 in UTC; None means ISO 8601: date alone, or
        date and time with or without seconds, fraction and offset, split by T or a space. An offset (`%z`) ends the
        format.
    zone : str or None
        IANA zone of times without an offset. None takes them for UTC, which only matters when logs are compared.
    iso_too : bool
        Whether text that doesn't fit `form` may be ISO 8601.

    Returns
    -------
    pl.DataFrame
        `struck_on`, the local day (Date), and `second`, Unix time in whole seconds (Int64); both null where a cell
        holds no time. The local day is the day in `zone` or, without one, the day as written. A time that the clock
        change skips is taken as an hour later; one that it repeats, as the first of the two; one on a day that a
        zone left out is no time.
    """
    if isinstance(cells.dtype, pl.Datetime | pl.Date):
        cells = _within_calendars(cells)
    elif form in EPOCHS:
        return _placed(_counted(cells, EPOCHS[form]), zone)
    if isinstance(cells.dtype, pl.Datetime) and cells.dtype.time_zone is not None:
        local = cells.dt.convert_time_zone(zone) if zone else cells
        return pl.select(struck_on=local.dt.date(), second=_seconds(pl.lit(cells)))
    if isinstance(cells.dtype, pl.Datetime | pl.Date):
        read = pl.select(naive=cells.cast(pl.Datetime("us")), offset_min=pl.lit(None, pl.Int64))
    elif not isinstance(cells.dtype, pl.String):
        read = pl.select(naive=pl.repeat(None, len(cells), dtype=pl.Datetime("us")), offset_min=pl.lit(None, pl.Int64))
    elif form is None:
        read = _iso(cells)
    else:
        read = _formatted(cells, form)
        if iso_too:
            read = pl.select(
                pl.when(read["naive"].is_null())
                .then(_iso(cells).to_struct())
                .otherwise(read.to_struct())
                .struct.unnest()
            )
    return _placed(read, zone)


def _within_calendars(cells: pl.Series) -> pl.Series:
    """Blank out typed times that no calendar holds; nanoseconds can't name such years."""
    unit = cells.dtype.time_unit if isinstance(cells.dtype, pl.Datetime) else "day"
    if unit == "ns":
        return cells
    per_day = {"day": 1, "ms": 86_400_000, "us": 86_400_000_000}[unit]
    lo, hi = ((bound.date() - date(1970, 1, 1)).days * per_day for bound in (_EARLIEST, _LATEST))
    return pl.select(pl.when(cells.to_physical().is_between(lo, hi)).then(cells)).to_series().rename(cells.name)


def _counted(cells: pl.Series, per_second: int) -> pl.DataFrame:
    """Read counts since 1970, whole or with a fraction of zeros, as times in UTC."""
    number = cells.cast(pl.Float64) if cells.dtype.is_numeric() else pl.Series([None] * len(cells), dtype=pl.Float64)
    if isinstance(cells.dtype, pl.String):
        number = pl.select(pl.when(cells.str.contains(_COUNT)).then(cells)).to_series().cast(pl.Float64)
    second = (number / per_second).floor()
    lo, hi = ((bound - datetime(1970, 1, 1)).total_seconds() for bound in (_EARLIEST, _LATEST))
    whole = pl.select(pl.when(second.is_between(lo, hi)).then(second).cast(pl.Int64)).to_series()
    naive = pl.from_epoch(whole, time_unit="s").cast(pl.Datetime("us"))
    return pl.select(naive=naive, offset_min=pl.when(naive.is_not_null()).then(pl.lit(0, pl.Int64)))


def _placed(read: pl.DataFrame, zone: str | None) -> pl.DataFrame:
    naive, offset_min = pl.col("naive"), pl.col("offset_min")
    with_offset = _seconds(naive) - offset_min * 60
    if zone is None:
        return read.select(struck_on=naive.dt.date(), second=pl.coalesce(with_offset, _seconds(naive)))
    placed = naive.dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
    later = naive.dt.offset_by("1h").dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
    moved = pl.from_epoch(with_offset, time_unit="s").dt.replace_time_zone("UTC").dt.convert_time_zone(zone).dt.date()
    found = read.select(
        struck_on=pl.when(offset_min.is_not_null()).then(moved).otherwise(naive.dt.date()),
        second=pl.coalesce(with_offset, _seconds(placed), _seconds(later)),
    )
    return found.with_columns(pl.when(pl.col("second").is_not_null()).then("struck_on"))


def _seconds(moment: pl.Expr) -> pl.Expr:
    # Floor, so that a time with a fraction agrees with one whose fraction was cut off.
    return moment.dt.epoch("us").floordiv(1_000_000)


def _iso(cells: pl.Series) -> pl.DataFrame:
    # Most logs write nothing but this, which takes a third of the time to read.
    plain = cells.str.contains(_PLAIN_ISO).fill_null(False)
    odd = (~plain & cells.is_not_null()).arg_true()
    stamps = pl.select(stamp=pl.when(plain).then(cells), offset=pl.lit(None, pl.String))
    read = _checked(stamps, "%Y-%m-%dT%H:%M:%S")
    if not len(odd):
        return read
    slow = _any_iso(cells.gather(odd))
    return pl.DataFrame([read[name].scatter(odd, slow[name]) for name in read.columns])


def _any_iso(cells: pl.Series) -> pl.DataFrame:
    names = ["day", "clock", "second", "offset"]
    parts = cells.str.extract_groups(_ISO).struct.rename_fields(names).struct.unnest()
    stamps = parts.select(
        "offset",
        stamp=pl.format("{} {}:{}", "day", pl.col("clock").fill_null("00:00"), pl.col("second").fill_null("00")),
    )
    return _checked(stamps, "%Y-%m-%d %H:%M:%S")


def _formatted(cells: pl.Series, form: str) -> pl.DataFrame:
    if not form.endswith("%z"):
        return _checked(pl.select(stamp=cells, offset=pl.lit(None, pl.String)), form)
    # The offset is read apart from the rest, so that the day as written isn't lost.
    parts = pl.select(stamp=cells.str.replace(_OFFSET_AT_END, ""), offset=cells.str.extract(_OFFSET_AT_END))
    parts = parts.with_columns(pl.when(pl.col("offset").is_not_null()).then("stamp").alias("stamp"))
    return _checked(parts, form.removesuffix("%z").rstrip())


def _checked(parts: pl.DataFrame, form: str) -> pl.DataFrame:
    """Read `stamp` and `offset`, both text, as `naive` and `offset_min`; an impossible offset leaves no time."""
    digits = pl.col("offset").str.to_uppercase().str.replace("Z", "+0000", literal=True).str.replace(":", "")
    hours = digits.str.slice(1, 2).cast(pl.Int64, strict=False)
    rest = digits.str.slice(3, 2).replace("", "00").cast(pl.Int64, strict=False)
    minutes = (hours * 60 + rest) * pl.when(digits.str.starts_with("-")).then(-1).otherwise(1)
    possible = pl.col("offset").is_null() | ((rest < 60) & (minutes.abs() <= _LONGEST_OFFSET_MIN))
    naive = pl.col("stamp").str.strptime(pl.Datetime("us"), form, strict=False)
    possible &= naive.is_between(_EARLIEST, _LATEST)
    return parts.select(naive=pl.when(possible).then(naive), offset_min=minutes)


def latest_day(today: date) -> date:
    """Give the last day that a shot can bear: a day past today, since somewhere on Earth tomorrow has begun."""
    return max(today, RELEASED) + timedelta(days=1)


def exchanged(form: str | None) -> str | None:
    """Give a time format with day and month exchanged; None where it doesn't name both by number."""
    if form is None or "%d" not in form or "%m" not in form:
        return None
    return form.replace("%d", "\0").replace("%m", "%d").replace("\0", "%m")
