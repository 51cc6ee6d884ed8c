"""Columns that a layout joins from parts, in logs of every kind."""

from datetime import date, time

import polars as pl
import pytest

from pipeline.collect.opened_log import LogRefusedError
from pipeline.collect.read import open_log
from pipeline.configuration.layouts import Layout

JOIN = {"when": ("Day", "Clock"), "who": ("First", "Last")}
DAYS = [date(2026, 8, 3), date(2026, 8, 4), None]
CLOCKS = [time(9, 5), None, None]


def layout(**join):
    return Layout(join=join or JOIN, columns={"golfer": {"from": "who"}, "struck_at": {"from": "when"}})


def written(folder, suffix):
    frame = pl.DataFrame(
        {"First": ["Ann", "Bo", ""], " Clock": CLOCKS, "Last": ["Oak ", "Elm", "Fir"], "Day": DAYS, "Other": [1, 2, 3]}
    )
    path = folder / f"a.{suffix}"
    text = frame.cast(pl.String).fill_null("")
    if suffix == "parquet":
        text.write_parquet(path)
    else:
        text.write_csv(path)
    return path


@pytest.mark.parametrize("suffix", ["csv", "parquet"])
def test_parts_are_joined_by_a_blank_and_missing_ones_leave_none(tmp_path, suffix):
    with open_log(written(tmp_path, suffix), layout()) as opened:
        assert opened.headers[-2:] == ["when", "who"]
        [rows] = opened.batches({"golfer": 6, "struck_at": 5, "other": 4})
        assert sorted(rows.columns) == ["golfer", "other", "ragged", "row", "struck_at"]
        assert rows["golfer"].to_list() == ["Ann Oak", "Bo Elm", "Fir"]
        assert [one[:13] for one in rows["struck_at"]] == ["2026-08-03 09", "2026-08-04", ""]
        assert sorted(opened.distinct(6)) == ["Ann Oak", "Bo Elm", "Fir"]
        assert sorted(opened.distinct(2)) == ["Elm", "Fir", "Oak "]
        # A joined column's parts are in use; joined columns themselves are no columns of the log.
        assert set(opened.used([6])) == {0, 2, 5, 6}


def test_parts_that_are_no_text_are_refused(tmp_path):
    pl.DataFrame({"First": ["Ann"], "Last": ["Oak"], "Day": DAYS[:1], "Clock": CLOCKS[:1]}).write_parquet(
        tmp_path / "a.parquet"
    )
    told = "its column 'Day' isn't text, so it can't be joined; export it as text"
    with open_log(tmp_path / "a.parquet", layout()) as opened, pytest.raises(LogRefusedError, match=told):
        list(opened.batches({"struck_at": 4}))


def test_a_log_without_a_part_is_refused(tmp_path):
    path = written(tmp_path, "csv")
    told = "it lacks the column 'Hour', which the layout joins; correct 'join'"
    with (
        pytest.raises(LogRefusedError, match=told),
        open_log(path, layout(when=("Day", "Hour"), who=("First", "Last"))),
    ):
        pass


@pytest.mark.parametrize(
    "join",
    [{"when": ("Day",)}, {"when": ("Day", "")}, {"": ("Day", "Clock")}, {"a": ("Day", "Clock"), "b": ("a", "c")}],
)
def test_a_join_of_nothing_is_refused(join):
    with pytest.raises(ValueError, match=r"two headers of the log or more|made of a joined column"):
        layout(**join)
