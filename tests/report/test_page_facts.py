"""What drives add to the tables: what most say, days, even thinning; and data quality in words."""

from itertools import pairwise

import polars as pl
import pytest
from page_cases import CASES, code, device, drives_of, log, played, reject, tables_of

from pipeline.drives import Drives
from pipeline.report.page.facts import MOST_DRIVES, of_drives
from pipeline.report.page.quality import quality_of

KEY = (code("1"), "2026Q3")
UNKNOWN = {"drives": 20, "no_air": 0, "no_spin": 0, "no_ball": 0}


def facts_by_key(drives):
    rows = of_drives(drives, "2026Q3").facts.to_dicts()
    return {(row["golfer"], row["quarter"]): row for row in rows}


def test_what_most_drives_say_counts_and_silence_does_not():
    drives = drives_of([played("1", shots=9)])
    place = pl.int_range(pl.len())
    said = drives.with_columns(
        device=pl.when(place < 4).then(pl.lit("b")).when(place < 8).then(pl.lit("a")),
        group=pl.when(place == 8).then(pl.lit("evening")), ball=pl.lit(None, pl.String),
    )  # fmt: skip
    facts = facts_by_key(said)[KEY]
    assert (facts["device"], facts["group"], facts["ball"], facts["days"]) == ("a", "evening", None, 3)


def test_mean_and_poorer_drives():
    carry = [100.0, 180.0, 190.0, 200.0, 210.0, 220.0]
    drives = drives_of([played("1", shots=6)]).with_columns(carry_standard_yd=pl.Series(carry))
    facts = facts_by_key(drives)[KEY]
    assert facts["mean_yd"] == pytest.approx(sum(carry) / 6)
    assert facts["poorer_yd"] == pytest.approx(195.0 - 180.0)  # the median less the 20th percentile


@pytest.mark.parametrize("shots", [1, 59, 60, 61, 100, 119, 120, 500])
def test_drives_are_thinned_evenly_and_as_many_are_kept_as_can_be(shots):
    drives = drives_of([played("1", shots=shots), played("2", shots=20)])
    numbered = drives.with_columns(carry_standard_yd=pl.int_range(pl.len()).over("golfer").cast(pl.Float64))
    drawn = of_drives(numbered, "2026Q3").drawn
    kept = drawn.filter(pl.col("golfer") == code("1"))["carry_standard_yd"].to_list()
    assert len(kept) == min(shots, MOST_DRIVES)
    assert kept == sorted(set(kept))
    steps = [after - before for before, after in pairwise(kept)]
    assert not steps or max(steps) - min(steps) <= 1
    assert kept[0] == 0


def test_other_quarters_and_guessed_spins_are_not_drawn():
    drives = drives_of([played("1"), played("1", "2026Q2"), played("2")])
    guessed = drives.with_columns(spin_measured=pl.col("golfer") != code("2"))
    found = of_drives(guessed, "2026Q3").drawn
    assert found["golfer"].to_list() == [code("1")] * 20


def test_pieces_give_what_the_whole_gives():
    drives = drives_of([played(name, quarter) for name in "123" for quarter in ("2026Q2", "2026Q3")])
    parts = drives.partition_by("golfer")
    pieces = Drives(lambda: iter(parts))
    found, whole = (of_drives(one, "2026Q3") for one in (pieces, drives))
    assert found.facts.equals(whole.facts)
    assert found.drawn.equals(whole.drawn)
    assert found.unknown == whole.unknown


def test_quality_counts_logs_rejects_and_devices():
    rows, others = CASES["data of all kinds"]
    found = quality_of(tables_of(rows, **others), UNKNOWN)
    assert [one["status"] for one in found["logs"]] == ["refused", "used", "used"]
    assert found["rejects"] == [
        {"what": "the cell is empty", "value": "carry", "rows": 2},
        {"what": "lower than any drive's", "value": "spin", "rows": 1},
    ]
    assert found["sentences"] == [
        "2 logs gave 200 rows: 180 became drives, 12 were rejected, 8 were there twice.",
        "1 log was refused and gave nothing.",
        "3 rows were rejected, most often for this: carry, the cell is empty (2 rows).",
        "3 devices measured drives; unit-A is the one the others are compared with.",
        "unit-B reads 2 % more club speed than unit-A.",
        "unit-C reads 2 % more club speed than unit-A.",
        "Readings of unit-C were corrected before anything else.",
    ]


def test_quality_of_one_clean_log():
    found = quality_of(tables_of([played("1")], Sources=[log(rejected=0, rows=94)]), UNKNOWN)
    assert found["sentences"] == [
        "1 log gave 94 rows: 90 became drives, 0 were rejected, 4 were there twice.",
        "No row was rejected.",
        "One device measured all drives, so there is none to compare it with.",
    ]


def test_carry_over_flight_is_left_out_of_devices():
    devices = [device(reading="carry_over_flight"), device(reading="launch", difference=0.123456)]
    found = quality_of(tables_of([played("1")], Devices=devices, Rejects=[reject(1)]), UNKNOWN)
    assert [(one["reading"], one["difference"]) for one in found["devices"]] == [("launch", 0.1235)]
