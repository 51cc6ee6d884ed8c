from datetime import UTC, date, datetime, timedelta, timezone

import polars as pl
import pytest

from pipeline.collect.times import RELEASED, _any_iso, _iso, exchanged, latest_day, parse_times


def read(cell, form=None, zone=None, iso_too=False, dtype=None):
    frame = parse_times(pl.Series([cell], dtype=dtype), form, zone, iso_too=iso_too)
    return frame.row(0)


def unix(*parts):
    return int(datetime(*parts, tzinfo=UTC).timestamp())


@pytest.mark.parametrize(
    ("cell", "day", "second"),
    [
        ("2026-01-02", date(2026, 1, 2), unix(2026, 1, 2)),
        ("2026-01-02T10:11", date(2026, 1, 2), unix(2026, 1, 2, 10, 11)),
        ("2026-01-02 10:11:12", date(2026, 1, 2), unix(2026, 1, 2, 10, 11, 12)),
        ("2026-01-02T10:11:12.999999", date(2026, 1, 2), unix(2026, 1, 2, 10, 11, 12)),
        ("2026-01-02T10:11:12Z", date(2026, 1, 2), unix(2026, 1, 2, 10, 11, 12)),
        ("2026-01-02T23:30:00-05:00", date(2026, 1, 2), unix(2026, 1, 3, 4, 30)),
        ("2026-01-02T00:30:00+0200", date(2026, 1, 2), unix(2026, 1, 1, 22, 30)),
        ("2026-01-02T00:30:00+05", date(2026, 1, 2), unix(2026, 1, 1, 19, 30)),
        ("2026-01-02T00:30:00 +05:45", date(2026, 1, 2), unix(2026, 1, 1, 18, 45)),
        ("1969-12-31T23:59:59", date(1969, 12, 31), -1),
    ],
)
def test_iso_times(cell, day, second):
    assert read(cell) == (day, second)


@pytest.mark.parametrize(
    "cell",
    ["2026", "02.01.2026", "2026-13-01", "2026-02-29", "2026-01-02T25:00", "2026-01-02T10", "2026-01-02T10:11+19:00"],
)
def test_no_time_is_guessed(cell):
    assert read(cell) == (None, None)


def test_zone_applies_to_times_without_an_offset():
    assert read("2026-07-01T00:30:00", zone="Europe/Vienna") == (date(2026, 7, 1), unix(2026, 6, 30, 22, 30))


def test_time_with_an_offset_counts_on_the_day_of_the_zone():
    assert read("2026-06-30T22:30:00Z", zone="Europe/Vienna") == (date(2026, 7, 1), unix(2026, 6, 30, 22, 30))


def test_hour_that_the_clock_change_skips_is_an_hour_later():
    # Vienna, 29 March 2026: 02:00 to 03:00 did not exist; 02:30 is 03:30 summer time.
    assert read("2026-03-29T02:30:00", zone="Europe/Vienna") == (date(2026, 3, 29), unix(2026, 3, 29, 1, 30))


def test_hour_that_the_clock_change_repeats_is_the_first():
    assert read("2026-10-25T02:30:00", zone="Europe/Vienna") == (date(2026, 10, 25), unix(2026, 10, 25, 0, 30))


@pytest.mark.parametrize(
    ("cell", "form", "second"),
    [
        ("02.01.2026 10:11:12", "%d.%m.%Y %H:%M:%S", unix(2026, 1, 2, 10, 11, 12)),
        ("02.01.2026", "%d.%m.%Y", unix(2026, 1, 2)),
        ("01/02/2026 10:11 PM", "%m/%d/%Y %I:%M %p", unix(2026, 1, 2, 22, 11)),
        ("02.01.2026 23:30 -0500", "%d.%m.%Y %H:%M %z", unix(2026, 1, 3, 4, 30)),
    ],
)
def test_layout_format(cell, form, second):
    assert read(cell, form) == (date(2026, 1, 2), second)


def test_format_with_an_offset_needs_one():
    assert read("02.01.2026 23:30", "%d.%m.%Y %H:%M %z") == (None, None)


def test_iso_is_only_a_way_out_where_asked_for():
    assert read("2026-01-02 10:00:00", "%d.%m.%Y") == (None, None)
    assert read("2026-01-02 10:00:00", "%d.%m.%Y", iso_too=True) == (date(2026, 1, 2), unix(2026, 1, 2, 10))
    assert read("02.01.2026", "%d.%m.%Y", iso_too=True) == (date(2026, 1, 2), unix(2026, 1, 2))


def test_typed_times():
    naive = datetime(2026, 1, 2, 0, 30)
    aware = datetime(2026, 1, 2, 0, 30, tzinfo=timezone(timedelta(hours=2)))

    assert read(naive, zone="Europe/Vienna") == (date(2026, 1, 2), unix(2026, 1, 1, 23, 30))
    assert read(naive, dtype=pl.Datetime("ns")) == (date(2026, 1, 2), unix(2026, 1, 2, 0, 30))
    assert read(naive.replace(microsecond=999_999)) == (date(2026, 1, 2), unix(2026, 1, 2, 0, 30))
    assert read(date(2026, 1, 2)) == (date(2026, 1, 2), unix(2026, 1, 2))
    assert read(aware, zone="Europe/Vienna", dtype=pl.Datetime("us", "UTC")) == (
        date(2026, 1, 1),
        unix(2026, 1, 1, 22, 30),
    )


def test_a_number_is_no_time():
    assert read(45000) == (None, None)


def test_tomorrow_is_no_future_and_a_clock_before_the_release_is_wrong():
    assert latest_day(date(2030, 12, 31)) == date(2031, 1, 1)
    assert latest_day(date(1970, 1, 1)) == RELEASED + timedelta(days=1)


@pytest.mark.parametrize("dtype", [pl.Datetime("ms"), pl.Datetime("us"), pl.Datetime("us", "UTC"), pl.Date])
def test_typed_times_of_no_calendar_are_no_times(dtype):
    cells = pl.Series([2**62 if dtype != pl.Date else 2**31 - 1, 0]).cast(pl.Int64).cast(
        pl.Int32 if dtype == pl.Date else pl.Int64).cast(dtype)  # fmt: skip

    found = parse_times(cells, None, "Europe/Vienna", iso_too=False)

    assert found["struck_on"].to_list() == [None, date(1970, 1, 1)]


def test_day_that_a_zone_left_out_is_no_time():
    # Apia crossed the date line at the end of 29 December 2011.
    assert read("2011-12-30T12:00:00", zone="Pacific/Apia") == (None, None)
    assert read("2011-12-31T12:00:00", zone="Pacific/Apia")[0] == date(2011, 12, 31)


def test_day_and_month_are_exchanged_only_where_both_are_numbers():
    assert exchanged("%d/%m/%Y %H:%M") == "%m/%d/%Y %H:%M"
    assert exchanged("%d %b %Y") is None
    assert exchanged(None) is None


def test_usual_times_are_read_as_any_others():
    cells = pl.Series(
        [
            "2026-08-03T10:00:00", "2026-08-03T23:59:60", "2026-08-03T24:00:00", "2026-13-03T10:00:00",
            "2026-02-30T10:00:00", "0001-01-01T00:00:00", "9999-01-01T00:00:00", "2026-08-03T10:60:00", "2026-08-03",
            "2026-08-03T10:00:00+02:00", "2026-08-03T10:00:00.5", "2026-08-03T10:00:00\n", "soon", None,
        ]
    )  # fmt: skip

    assert _iso(cells).equals(_any_iso(cells))
    assert _iso(cells)["naive"].null_count() < cells.len() - 3


@pytest.mark.parametrize(
    ("cell", "form", "second"),
    [("1785751200", "epoch", 1785751200), ("1785751200.0", "epoch", 1785751200),
     ("1785751200500", "epoch_ms", 1785751200),
     (1785751200, "epoch", 1785751200), ("17857 51200", "epoch", None), ("-5", "epoch", None),
     ("9999999999999999", "epoch", None), ("2026-08-03", "epoch", None)],
)  # fmt: skip
def test_counts_since_1970(cell, form, second):
    read_one = parse_times(pl.Series([cell]), form, None, iso_too=False)
    assert read_one["second"].to_list() == [second]
    assert read_one["struck_on"].null_count() == (second is None)


def test_days_of_counts_are_those_of_the_zone():
    cells = pl.Series(["1785796200"])  # 2026-08-03 22:30 in UTC
    days = [parse_times(cells, "epoch", zone, iso_too=False)["struck_on"][0] for zone in (None, "Europe/Vienna")]
    assert days == [date(2026, 8, 3), date(2026, 8, 4)]
