import numpy as np
import polars as pl
import pytest
from collect_samples import HEADER, changed, csv_text, written

from pipeline.collect.check_command import survey
from pipeline.collect.plausible import (
    LEAST_ROWS,
    Impression,
    by_flight,
    by_themselves,
    rejection_remark,
    remarks_across,
)
from pipeline.collect.rules import Split
from pipeline.configuration.layouts import STANDARD_LAYOUT, Layout
from pipeline.physics.air import Air
from pipeline.physics.air_of_drives import AIR_COLUMNS
from pipeline.physics.ball import SETS, Ball
from pipeline.physics.trajectory import Launch, fly
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH, UNITS, Unit

MPS, KMH, METRE = 1 / MPS_PER_MPH, 1 / 1.609344, 1 / METRES_PER_YARD
FLIGHT = "; balls that fly short or long, and unknown air, look the same"


def drives(n=60, seed=2):
    """Drives whose carry is flight's, by the geometric mean of the published sets, and luck."""
    rng = np.random.default_rng(seed)
    club = rng.uniform(75, 110, n)
    speed = club * rng.normal(1.44, 0.03, n)
    launch, spin = rng.normal(12.5, 2, n).clip(6, 20), rng.normal(2800, 400, n)
    at = Launch.straight(speed * MPS_PER_MPH, launch, spin)
    flown = [fly(at, Ball(name), Air.of(15.0, 101325.0, 0.0)).carry_m for name in SETS]
    carry = np.exp(np.mean(np.log(flown), axis=0)) * METRE * rng.normal(1, 0.04, n)
    none = dict.fromkeys(AIR_COLUMNS, pl.Series([None] * n, dtype=pl.Float64))
    return pl.DataFrame(
        {"club_speed_mph": club, "ball_speed_mph": speed, "launch_deg": launch, "spin_rpm": spin, "carry_yd": carry}
        | none | {"spin_measured": [True] * n}
    )  # fmt: skip


def unit_remarks(sample, layout):
    found, judged = by_themselves(sample, layout)
    return found + (by_flight(judged, layout) if judged else [])


def called(frame, **factors):
    """Give the figures that stand in a log whose units are mistaken: divided by what would mend them."""
    return frame.with_columns(pl.col(name) / factor for name, factor in factors.items())


def layout(**units):
    columns = {name: {"from": name} | ({"unit": units[name]} if name in units else {}) for name in HEADER.split(",")}
    return Layout.model_validate({"columns": columns})


MISTAKEN = [
    ({"carry_yd": METRE}, "carry_yd looks like m called yd: its drives carry 0.9"),
    ({"carry_yd": 1 / 3}, "carry_yd looks like ft called yd: its drives carry 2.95 times what flight gives"),
    ({"club_speed_mph": MPS, "ball_speed_mph": MPS}, "club_speed_mph and ball_speed_mph look like m/s called mph"),
    ({"club_speed_mph": KMH, "ball_speed_mph": KMH}, "club_speed_mph and ball_speed_mph look like km/h called mph"),
    ({"club_speed_mph": KMH}, "club_speed_mph looks like km/h called mph: its ball speeds are 0.89 times its club"),
    ({"club_speed_mph": MPS}, "club_speed_mph looks like m/s called mph: its ball speeds are 3.21 times"),
    ({"ball_speed_mph": MPS}, "ball_speed_mph looks like m/s called mph: its ball speeds are 0.64 times"),
    ({"ball_speed_mph": KMH}, "ball_speed_mph looks like km/h called mph: its ball speeds are 2.31 times"),
    ({"spin_rpm": 60}, "spin_rpm looks like 1/s called rpm"),
    ({"spin_rpm": 30 / np.pi}, "spin_rpm looks like rad/s called rpm"),
    ({"launch_deg": 180 / np.pi}, "launch_deg looks like rad called deg"),
]


@pytest.mark.parametrize(("factors", "beginning"), MISTAKEN)
def test_mistaken_unit_is_named(factors, beginning):
    (told,) = unit_remarks(called(drives(), **factors), STANDARD_LAYOUT)

    assert told.startswith(beginning)
    assert told.endswith(FLIGHT) == ("carry_yd" in factors and factors["carry_yd"] == METRE)


@pytest.mark.parametrize(
    ("units", "factors", "beginning"),
    [
        ({"carry_yd": "m"}, {"carry_yd": 1 / METRE}, "carry_yd looks like yd called m: "),
        ({"spin_rpm": "1/s"}, {"spin_rpm": 1 / 60}, "spin_rpm looks like rpm called 1/s"),
        ({"launch_deg": "rad"}, {"launch_deg": np.pi / 180}, "launch_deg looks like deg called rad"),
        ({"ball_speed_mph": "km/h"}, {"ball_speed_mph": 1 / KMH}, "ball_speed_mph looks like mph called km/h: "),
    ],
)
def test_unit_of_the_layout_can_be_the_mistake(units, factors, beginning):
    (told,) = unit_remarks(called(drives(), **factors), layout(**units))

    assert told.startswith(beginning)


KNOT, CM, GON, DEG_PER_S = 1852 / 3600 / MPS_PER_MPH, 0.01 / METRES_PER_YARD, 0.9, 1 / 6  # in standard units
IN_KNOTS = {"club_speed_mph": KNOT, "ball_speed_mph": KNOT}


def test_another_unit_changes_no_judgment(monkeypatch):
    mistaken = [factors for factors, _ in MISTAKEN]
    mistaken += [IN_KNOTS, {"carry_yd": CM}, {"launch_deg": GON}, {"spin_rpm": DEG_PER_S}]
    logs = [called(drives(), **factors) for factors in mistaken] + [drives(seed=seed) for seed in range(5)]
    before = [unit_remarks(log, STANDARD_LAYOUT) for log in logs]

    for suffix, name, factor in (
        ("mph", "kn", KNOT),
        ("yd", "cm", CM),
        ("deg", "gon", GON),
        ("rpm", "deg/s", DEG_PER_S),
    ):
        monkeypatch.setitem(UNITS[suffix], name, Unit(factor))

    assert [unit_remarks(log, STANDARD_LAYOUT) for log in logs] == before
    # A log may have it, too: it is as sound as in yards, and metres called centimetres are told.
    assert unit_remarks(drives(), layout(carry_yd="cm")) == []
    (told,) = unit_remarks(called(drives(), carry_yd=100), layout(carry_yd="cm"))
    assert told.startswith("carry_yd looks like m called cm: its drives carry 0.01 times")


def test_a_unit_that_devices_export_unasked_is_suspected(monkeypatch):
    monkeypatch.setitem(UNITS["mph"], "kn", Unit(KNOT, confusable=True))

    (told,) = unit_remarks(called(drives(), **IN_KNOTS), STANDARD_LAYOUT)

    assert told.startswith("club_speed_mph and ball_speed_mph look like kn called mph")


@pytest.mark.parametrize("seed", range(5))
def test_sound_drives_are_not_remarked_on(seed):
    assert unit_remarks(drives(seed=seed), STANDARD_LAYOUT) == []
    assert unit_remarks(drives(seed=seed).drop("ball_speed_mph").with_columns(ball_speed_mph=pl.lit(None, pl.Float64)),
                        STANDARD_LAYOUT) == []  # fmt: skip


def test_speeds_are_told_without_ball_speed_too():
    frame = called(drives(), club_speed_mph=KMH).with_columns(ball_speed_mph=pl.lit(None, pl.Float64))

    (told,) = unit_remarks(frame, STANDARD_LAYOUT)

    assert told.startswith("club_speed_mph looks like km/h called mph: its drives carry")


def test_figures_that_fit_nothing_are_told_without_a_unit():
    told = unit_remarks(called(drives(), carry_yd=1.4), STANDARD_LAYOUT)

    assert told == [
        "its drives carry 0.70 times what flight gives for their speed, launch and spin; check the units and the "
        "headers of speeds and carry"
    ]


def test_known_wind_is_reckoned_with():
    # A tail wind carries these drives a tenth farther, as if yards were called metres; the log's wind explains it.
    blown = drives().with_columns(pl.col("carry_yd") * 1.1)

    assert unit_remarks(blown.with_columns(wind_along_mps=pl.lit(10.0)), layout(carry_yd="m")) == []
    assert unit_remarks(blown, layout(carry_yd="m"))[0].startswith("carry_yd looks like yd called m")


def test_few_drives_are_not_judged():
    enough = called(drives(LEAST_ROWS), spin_rpm=60)

    assert len(unit_remarks(enough, STANDARD_LAYOUT)) == 1
    assert unit_remarks(enough.head(LEAST_ROWS - 1), STANDARD_LAYOUT) == []


@pytest.mark.parametrize(
    ("rule", "column", "launch", "spin", "end"),
    [
        ("too_high", "launch_deg", 2500.0, 12.0, "launch_deg and spin_rpm look exchanged; correct their headers in the "
         "layout or in the log"),
        ("ragged", "(row)", 12.0, 2500.0, "check the delimiter and the decimal mark"),
        ("not_a_time", "struck_at", 12.0, 2500.0, "since a date such as 03/04/2026 is never guessed"),
        ("too_low", "carry_yd", 12.0, 2500.0, "check its unit and which header it comes from"),
    ],
)  # fmt: skip
def test_rule_that_most_rows_break_is_explained(rule, column, launch, spin, end):
    counts = pl.DataFrame({"rule": [rule, "missing"], "column": [column, "golfer"], "len": [6, 1]})
    sample = pl.DataFrame({"launch_deg": [launch], "spin_rpm": [spin]})

    told = rejection_remark(counts, 10, sample)

    assert told is not None
    assert told.endswith(end)
    assert rejection_remark(counts, 12, sample) is None


def test_exchanged_launch_and_spin_are_told_by_the_run(tmp_path, collect, capsys):
    rows = [changed(launch_deg=str(2500 + i), spin_rpm="12", struck_at=f"2026-08-03T10:00:{i:02d}") for i in range(30)]

    result = collect(written(tmp_path / "a.csv", csv_text(*rows)))

    assert result.receipt["rejected"] == 30
    assert "launch_deg and spin_rpm look exchanged" in capsys.readouterr().out


def test_metres_called_yards_are_told_by_the_run(tmp_path, collect, capsys):
    rows = [changed(carry_yd=str(205 + i % 5), struck_at=f"2026-08-03T10:00:{i:02d}") for i in range(30)]

    result = collect(written(tmp_path / "a.csv", csv_text(*rows)))

    assert result.shots["carry_yd"][0] == 205.0  # nothing is changed, only told
    assert "Look again: carry_yd looks like m called yd: its drives carry 0.93 times" in capsys.readouterr().out


def test_few_misfits_of_a_time_format_are_rows_and_many_are_the_format():
    def impression(days, unread):
        rows = drives(len(days)).with_columns(
            struck_on=pl.Series(days).cast(pl.Date),
            only_exchanged=pl.Series(unread),
            fault_rule=pl.lit(None, pl.String),
        )
        one = Impression(STANDARD_LAYOUT)
        one.take(rows, Split(pl.DataFrame(), pl.DataFrame({"rule": ["x"], "column": ["y"]})))
        return one

    day = pl.date_range(pl.date(2026, 8, 11), pl.date(2026, 8, 14), eager=True)  # two of the four beyond the 12th
    assert impression(day, [False, True, False, False]).refusal() is None
    assert impression(day, [True, True, True, False]).refusal() is not None


def test_logs_are_held_against_each_other():
    # The other logs' ball flies 8 % farther than the mean of the published sets; metres hide behind that.
    sound, metres = 1.08, 1.08 * METRES_PER_YARD

    told = remarks_across({"a": sound, "b": sound * 1.03, "c": metres, "d": sound * 0.98, "e": None})

    assert told == {
        "c": "its drives carry 0.91 times what those of the other logs do for similar speed, launch, spin and air, "
        "as if m were called yd"
    }
    assert remarks_across({"a": sound}) == {}


def test_log_in_metres_among_others_is_told_by_the_run_and_by_check(tmp_path, collect, load):
    def log(name, carry):
        rows = [changed(carry_yd=str(carry + i % 5), struck_at=f"2026-08-03T10:00:{i:02d}") for i in range(30)]
        return collect(written(tmp_path / "study" / name, csv_text(*(row.replace("Ann", name) for row in rows))))

    folder = load(*(log(name, carry) for name, carry in (("a.csv", 240), ("b.csv", 240), ("c.csv", 219))))
    (tmp_path / "study" / "study.yaml").write_text("study: hill\nlogs: [{files: '*.csv'}]\n")

    reasons = pl.read_csv(folder / "sources.csv")["reason"].to_list()
    assert reasons[:2] == [None, None]
    assert reasons[2].startswith("its drives carry 0.91 times what those of the other logs do")
    assert [text for text in survey(tmp_path / "study").told if "look again" in text] == [
        f"c.csv: look again, {reasons[2]}."
    ]
