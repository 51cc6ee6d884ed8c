"""Whether a layout's time format and time zone can be used (pure)."""

from datetime import datetime

import polars as pl

# Formats of times as a count since 1970-01-01 00:00 UTC, with what one second counts.
EPOCHS = {"epoch": 1, "epoch_ms": 1000}


def knows_zone(zone: str) -> bool:
    """Tell whether times can be placed in a zone: Python lists some that polars doesn't know."""
    try:
        pl.Series([datetime(2026, 11, 25)]).dt.replace_time_zone(zone)
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException):
        return False
    return True


def format_problem(form: str) -> str | None:
    """Say what is wrong with a time format, as a clause; None if a time that it writes can be read again."""
    moment = pl.Series([datetime(2026, 11, 25, 16, 7, 8)])
    plain = form.removesuffix("%z").rstrip()
    try:
        written = moment.dt.strftime(plain)
        read = written.str.strptime(pl.Datetime("us"), plain, strict=False)
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException):
        return "isn't a time format that can be read"
    if read.dt.date()[0] != moment.dt.date()[0]:
        return "doesn't hold year, month and day"
    return None
