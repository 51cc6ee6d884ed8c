"""The academy page's data equal the tables, golfer by golfer, and every odd study has some."""

import json
import re
import time
from collections import Counter

import numpy as np
import polars as pl
import pytest
from coach_tables import changed, delivery_of, goals_of, newest, practice_of, priorities_of, progress_of
from days import on_days
from page_cases import CASES, FRONTIER, SETTINGS, beyond, code, drives_of, goal, played, study_payload, tables_of
from rows import table_of
from small_academy import SETTINGS as ACADEMY_SETTINGS
from whole_pages import payload_of

from pipeline.benchmark.disclosure import coarse_count, coarse_sum, modelled
from pipeline.errors import UserError
from pipeline.report.page.golfer_rows import COLUMNS
from pipeline.report.page.quality import QUALITY_COLUMNS
from pipeline.report.shown_sums import shown_goal, shown_losses
from pipeline.shown import METRIC, rounded, whole
from pipeline.tables.delivery import Delivery
from pipeline.tables.devices import Devices
from pipeline.tables.figures import BandTable
from pipeline.tables.goals import Goals, Priorities
from pipeline.tables.golfers import Golfers
from pipeline.tables.logs import Rejects, Sources
from pipeline.tables.practice import Practice
from pipeline.tables.progress import Progress
from pipeline.tables.table_set import TableSet
from pipeline.texts.catalogue import texts

NEWEST = "2026Q3"


@pytest.fixture(scope="module")
def academy_tables(academy):
    made = {Goals: goals_of, Priorities: priorities_of, Delivery: delivery_of, Progress: progress_of}
    coach = {schema: make(newest(academy.golfers)) for schema, make in (made | {Practice: practice_of}).items()}
    quality = {schema: table_of(schema, []) for schema in (Sources, Rejects, Devices)}
    return TableSet({Golfers: academy.golfers, BandTable: academy.bands, **coach, **quality})


@pytest.fixture(scope="module")
def academy_drives(academy):
    days = on_days(academy.drives, 3)
    air = {name: pl.lit(None, pl.Float64) for name in ("temp_c", "pressure_hpa", "altitude_m")}
    return days.with_columns(group=pl.when(pl.col("club_speed_mph") > 90).then(pl.lit("evening")), **air)


@pytest.fixture(scope="module")
def made(academy, academy_tables, academy_drives):
    inputs = {"frontier": academy.frontier, "drives": academy_drives, "settings": ACADEMY_SETTINGS}
    return payload_of(tables=academy_tables, **inputs)


def rows_of(payload):
    return {row[0]: dict(zip(payload["golfers"]["columns"], row, strict=True)) for row in payload["golfers"]["rows"]}


def histories(golfers):
    found = {}
    for row in golfers.sort("quarter").to_dicts():
        found.setdefault(row["golfer"], []).append(row)
    return found


def check_row(told, history, quarters):
    last, assessed = history[-1], history[-1]["status"] != "not_assessed"
    shown, now = shown_losses(last), last["quarter"] == quarters[-1]
    assert told["status"] == (last["status"] if now else "not_seen")
    assert told["quarter"] == last["quarter"]
    assert told["shots"] == last["shots"]
    assert told["club_speed_mph"] == pytest.approx(last["club_speed_mph"], abs=0.0501)
    assert (told["carry_yd"], told["efficient_yd"]) == (shown["carry_yd"], shown["efficient_yd"])
    assert told["cause"] == (last["main_cause"] if assessed else None)
    if not assessed:
        assert [told[name] for name in ("lost_yd", "lost_lo90_yd", "lost_hi90_yd", "sure")] == [None] * 4
    else:
        assert told["lost_yd"] == told["efficient_yd"] - told["carry_yd"]
        assert told["lost_yd"] == pytest.approx(last["lost_yd"], abs=1.01)
        ends = (last["lost_lo90_yd"], last["lost_hi90_yd"])
        assert (told["lost_lo90_yd"], told["lost_hi90_yd"]) == tuple(
            None if end is None else whole(end) for end in ends
        )
    by_quarter = {row["quarter"]: row for row in history if row["status"] != "not_assessed"}
    expected = [shown_losses(by_quarter[one])["lost_yd"] if one in by_quarter else None for one in quarters]
    assert told["history"] == expected


def check_quarter(told, row):
    assessed, shown = row["status"] != "not_assessed", shown_losses(row)
    assert (told["quarter"], told["shots"], told["status"]) == (row["quarter"], row["shots"], row["status"])
    assert told["launch_deg"] == pytest.approx(row["launch_deg"], abs=0.0501)
    assert told["spin_rpm"] == (None if row["spin_rpm"] is None else rounded(row["spin_rpm"], 10.0))
    if row["ball_speed_mph"] is None:
        assert told["speed_ratio"] is None
    else:
        assert told["speed_ratio"] == pytest.approx(row["ball_speed_mph"] / row["club_speed_mph"], abs=0.000501)
    assert (told["carry_yd"], told["efficient_yd"]) == (shown["carry_yd"], shown["efficient_yd"])
    parts = {name: shown[f"lost_{name}_yd"] if assessed else None for name in told["parts"]}
    assert told["parts"] == parts
    known = [part for part in parts.values() if part is not None]
    assert told["lost_yd"] == (sum(known) if assessed else None)
    assert told["cause"] == (row["main_cause"] if assessed else None)


def check_golfers(payload, golfers):
    rows, past = rows_of(payload), histories(golfers)
    assert set(rows) == set(past) == set(payload["stories"])
    for golfer, history in past.items():
        check_row(rows[golfer], history, payload["study"]["quarters"])
        story = payload["stories"][golfer]
        for told, row in zip(story["quarters"], history, strict=True):
            check_quarter(told, row)
        assert [one["movement"] for one in story["quarters"]][-1] == rows[golfer]["movement"] or (
            rows[golfer]["status"] == "not_seen"
        )


def test_every_golfer_of_the_academy_equals_the_tables(academy, made):
    assert len(made["golfers"]["rows"]) > 50
    check_golfers(made, academy.golfers)


def test_changes_goals_practice_and_first_equal_the_tables(academy_tables, made):
    tables = academy_tables
    for row in tables[Goals].to_dicts():
        told, shown = made["stories"][row["golfer"]]["goal"], shown_goal(row)
        assert told["goal_yd"] == shown["goal_yd"] == rows_of(made)[row["golfer"]]["goal_yd"]
        assert told["gap_yd"] == told["goal_yd"] - told["carry_yd"] == told["strike_yd"] + told["speed_yd"]
        assert told["reaching"] is None
        assert (told["reach"], told["from"], told["quarters"]) == (row["reach"], row["goal_from"], row["quarters"])
    for row in tables[Practice].to_dicts():
        told = made["stories"][row["golfer"]]["practice"]
        assert (told["sessions"], told["trend"], told["projected_on"]) == (40, "gaining", "2027-01-08")
        assert told["best_mph"] == {"value": 101.3, "lo": 99.8, "hi": 102.8}
        assert told["per_week_mph"] == {"value": 0.25, "lo": 0.12, "hi": 0.38}
    for row in tables[Priorities].to_dicts():
        told = made["stories"][row["golfer"]]["first"]
        assert (told["word"], told["confidence"]) == ("strike", 0.979)
    for row in tables[Progress].to_dicts():
        changes = {one["measure"]: one for one in made["stories"][row["golfer"]]["changes"]}
        assert list(changes) == ["club_speed", "speed_ratio", "launch", "spin", "carry", "lost"]
        assert changes["club_speed"]["change"] == 1.4
        assert (changes["speed_ratio"]["lo"], changes["speed_ratio"]["hi"]) == (-0.01, 0.006)
        assert (changes["lost"]["lo"], changes["lost"]["hi"]) == (-6, -2)
        assert {one["verdict"] for one in changes.values()} == {"better", "no_clear_change"}


def test_the_quarter_equals_the_tables(academy, made):
    now = academy.golfers.filter(pl.col("quarter") == NEWEST)
    quarter, status = made["quarter"], Counter(now["status"].cast(pl.String))
    assert quarter["counts"]["now"] == now.height
    assert quarter["counts"]["flagged_now"]["total"] == status["flagged"] > 5
    causes = Counter(now.filter("flagged")["main_cause"].cast(pl.String))
    assert {one["cause"]: one["golfers"] for one in quarter["causes"]} == causes
    behind = [golfer for one in quarter["unassessed"] for golfer in one["golfers"]]
    assert sorted(behind) == sorted(now.filter(pl.col("status").cast(pl.String) == "not_assessed")["golfer"])
    assert [one["golfer"] for one in quarter["first"]] == (
        now.filter("flagged").sort("ranked_lo90_yd", descending=True)["golfer"].head(5).to_list()
    )
    assert len(quarter["good"]) == now.filter(pl.col("status").cast(pl.String) != "not_assessed").height


def test_the_bands_equal_the_table(academy, made):
    told = {(one["quarter"], one["band_mph"]): one for one in made["bands"]}
    assert next(one["quarter"] for one in made["bands"]) == NEWEST
    hidden = 0
    for row in academy.bands.to_dicts():
        one = told[row["quarter"], row["band_mph"]]
        hidden += row["suppressed"]
        assert one["suppressed"] == row["suppressed"]
        assert one["carry_p50"] == row["carry_p50_yd"]
        if row["suppressed"]:
            assert (one["golfers"], one["shots"], one["efficient"]["value"]) == (None, None, None)
            continue
        # The page has in full what bands.csv rounds.
        assert coarse_count(one["golfers"], 5) == row["golfers"]
        assert coarse_sum(one["shots"], one["golfers"], 5) == row["shots"]
        assert one["efficient"]["value"] == academy.frontier.at("carry_yd", row["band_mph"])
        assert modelled(one["efficient"]["value"]) == row["efficient_carry_yd"]
    assert hidden > 0
    assert len(made["curve"]) == len(academy.frontier.speed_mph)
    assert made["curve"][3]["efficient_yd"] == pytest.approx(academy.frontier.carry_yd[3], abs=0.0501)


def test_dots_are_of_bands_that_are_shown(made):
    shown = {one["band_mph"] for one in made["bands"] if one["quarter"] == NEWEST and not one["suppressed"]}
    expected = {
        (row["club_speed_mph"], row["carry_yd"], golfer) for golfer, row in rows_of(made).items()
        if row["band_mph"] in shown and row["quarter"] == NEWEST
    }  # fmt: skip
    assert {tuple(dot) for dot in made["dots"]} == expected
    assert 0 < len(expected) < len(rows_of(made))


def test_a_suppressed_band_has_its_name_alone_and_no_dot():
    band = {"quarter": NEWEST, "golfers": 6, "shots": 120, "carry_p50_yd": 200.0, "efficient_carry_yd": 216.0}
    hidden = {"band_mph": 100.0, "suppressed": True, "golfers": None, "shots": None, "carry_p50_yd": None}
    bands = [band | {"band_mph": 90.0}, band | hidden]
    payload = study_payload(played("1"), played("2", club_speed_mph=100.0), played("3", "2026Q2"), BandTable=bands)
    assert payload["dots"] == [[90.0, 218, code("1")]]
    first, second = payload["bands"]
    assert (first["golfers"], first["carry_p50"], first["efficient"]["value"]) == (6, 200.0, 216.0)
    named = {name: value for name, value in second.items() if value is not None}
    nothing = {"value": None, "lo": None, "hi": None}
    assert named == {"band_mph": 100.0, "quarter": NEWEST, "suppressed": True, "efficient": nothing}


def test_drives_lie_about_the_golfers_carry_and_are_the_newest_quarters(academy_drives, made):
    struck = Counter(academy_drives.filter(pl.col("quarter") == NEWEST)["golfer"].cast(pl.String))
    for golfer, row in rows_of(made).items():
        drives = made["stories"][golfer]["drives"]
        if row["status"] == "not_seen":
            assert drives == []
            continue
        assert len(drives) == min(60, struck[golfer])
        if struck[golfer] <= 60:
            assert np.mean([drive[2] for drive in drives]) == pytest.approx(row["carry_yd"], abs=1.01)


def test_group_device_and_days_are_those_of_most_drives(academy_drives, made):
    for golfer, row in rows_of(made).items():
        here = academy_drives.filter((pl.col("golfer") == golfer) & (pl.col("quarter") == row["quarter"]))
        if here["club_speed_mph"].min() > 90:
            assert row["group"] == "evening"
        if here["club_speed_mph"].max() < 90:
            assert row["group"] is None
        counts = Counter(here["device"])
        assert counts[row["device"]] == max(counts.values())
        assert made["stories"][golfer]["quarters"][-1]["days"] == here["struck_on"].n_unique()


@pytest.mark.parametrize("name", CASES)
def test_every_odd_study_equals_its_tables(name):
    rows, others = CASES[name]
    payload = study_payload(*rows, **others)
    check_golfers(payload, table_of(Golfers, rows))
    json.dumps(payload, allow_nan=False)
    assert len(payload["quarter"]["sentences"]) == 3
    assert all(text.endswith(".") for text in payload["quarter"]["sentences"])


def test_no_pseudonym_is_shown_where_a_short_code_does():
    payload = study_payload(*CASES["every movement"][0])
    assert next(row["short"] for row in rows_of(payload).values()) == code("1")[:6]
    alike = ["g1111112222222222", "g1111113333333333"]
    two = study_payload(*[played("1") | {"golfer": golfer} for golfer in alike])
    assert [row["short"] for row in rows_of(two).values()] == ["g1111112", "g1111113"]


def test_a_golfer_who_comes_back_is_compared_with_nobody():
    rows = [played("1", quarter, flagged=True, cause="launch", launch=20.0) for quarter in ("2026Q1", "2026Q3")]
    payload = study_payload(*rows, played("2", "2026Q2"), played("2"), played("3", "2026Q1"))
    told = rows_of(payload)
    assert (told[code("1")]["movement"], told[code("1")]["history"]) == ("first_seen", [20, None, 20])
    assert (told[code("3")]["status"], told[code("3")]["movement"]) == ("not_seen", "away")
    assert payload["quarter"]["counts"]["flagged_now"] == {"total": 1, "still": 0, "new": 0, "first_seen": 1}


def test_figures_of_who_went_are_of_their_last_quarter_and_nothing_is_advised():
    payload = study_payload(
        played("1", "2026Q2", flagged=True, cause="spin", spin=15.0), played("2", "2026Q2"), played("2")
    )
    told = rows_of(payload)[code("1")]
    assert (told["status"], told["movement"], told["lost_yd"], told["quarter"]) == (
        "not_seen",
        "not_seen",
        15,
        "2026Q2",
    )
    assert told["do"] is None
    assert payload["stories"][code("1")]["advice"] == payload["stories"][code("1")]["drives"] == []


def test_goals_reached_are_those_of_the_table():
    others = {"Goals": [goal("1"), goal("2", "reached", gap_yd=-2.0, delivery_yd=None, speed_yd=None)]}
    payload = study_payload(played("1"), played("2"), **others)
    assert payload["quarter"]["goals_reached"] == [code("2")]


def test_without_a_drive_there_is_nothing_to_report():
    with pytest.raises(UserError, match=r"no drive was accepted.*sources\.csv"):
        payload_of(tables=tables_of([]), frontier=FRONTIER, drives=drives_of([played("1")]), settings=SETTINGS)


def test_a_study_without_speed_logs_has_no_practice(academy, academy_tables, academy_drives):
    tables = TableSet({schema: table for schema, table in academy_tables.frames.items() if schema is not Practice})
    inputs = {"frontier": academy.frontier, "drives": academy_drives, "settings": ACADEMY_SETTINGS}
    payload = payload_of(tables=tables, **inputs)
    assert not any(row["practice"] for row in rows_of(payload).values())
    assert payload["study"]["cautions"] == []


def sorted_by_golfer(payload):
    """Give a payload with everything that follows the golfers' order in the tables in one order."""
    quarter = payload["quarter"] | {"goals_reached": sorted(payload["quarter"]["goals_reached"])}
    quarter["unassessed"] = [one | {"golfers": sorted(one["golfers"])} for one in quarter["unassessed"]]
    rows = payload["golfers"] | {"rows": sorted(payload["golfers"]["rows"], key=lambda row: row[0])}
    dots = sorted(payload["dots"], key=lambda dot: dot[2])
    return payload | {"quarter": quarter, "golfers": rows, "dots": dots}


def test_golfers_stand_as_in_the_tables_and_nothing_else_depends_on_their_order(
    academy, academy_tables, academy_drives, made
):
    turned = changed(academy_tables, golfers=academy.golfers.reverse(), goals=academy_tables[Goals].reverse())
    inputs = {"frontier": academy.frontier, "drives": academy_drives, "settings": ACADEMY_SETTINGS}
    again = payload_of(tables=turned, **inputs)
    assert again != made  # golfers stand in another order
    assert sorted_by_golfer(again) == sorted_by_golfer(made)


def test_every_text_is_said_in_some_case():
    """A text that no case says may have a hole that nothing fills."""
    payloads = [study_payload(*rows, **others) for rows, others in CASES.values()]
    said = "\n".join(text for payload in payloads for text in strings(payload))
    unsaid = [key for key, text in texts("academy").items() if not re.search(pattern(text), said)]
    assert unsaid == []
    assert "{" not in said


def strings(value):
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from strings(one)
    elif isinstance(value, list):
        for one in value:
            yield from strings(one)


def pattern(text):
    return re.sub(r"\\\{\w+\\\}", ".+", re.escape(text))


def big_academy(golfers, quarters):
    random = np.random.default_rng(5)
    lost = random.gamma(2.0, 6.0, (quarters, golfers))
    speed = random.uniform(76, 104, golfers)
    rows = []
    for q in range(quarters):
        for k in range(golfers):
            part = float(lost[q, k])
            cause = {"flagged": part > 10, "cause": "launch" if part > 10 else "none", "launch": part}
            row = played("1", f"2026Q{q + 1}", club_speed_mph=float(speed[k]), launch_deg=10.0, **cause)
            rows.append(row | {"golfer": f"g{k:016x}", "shots": 40})
    return rows


def test_2000_golfers_of_4_quarters_take_under_5_s():
    rows = big_academy(2000, 4)
    names = ("golfer", "quarter", "launch_deg", "spin_rpm", "carry_yd")
    drives = pl.DataFrame([{name: row[name] for name in names} for row in rows]).rename(
        {"carry_yd": "carry_standard_yd"}
    )
    drives = pl.concat([drives] * 40).sort("golfer", "quarter").with_columns(
        device=pl.lit("unit-A"), ball=pl.lit("premium"), group=pl.lit(None, pl.String), spin_measured=pl.lit(True),
        **{name: pl.lit(None, pl.Float64) for name in QUALITY_COLUMNS[:-1]},
    )  # fmt: skip
    tables = tables_of(rows)
    began = time.process_time()
    payload = payload_of(tables=tables, frontier=FRONTIER, drives=on_days(drives, 3), settings=SETTINGS)
    took_s = time.process_time() - began
    assert len(payload["golfers"]["rows"]) == 2000
    assert payload["golfers"]["columns"] == list(COLUMNS)
    assert took_s < 5.0
    print(f"2,000 golfers: {took_s:.2f} s, {len(json.dumps(payload)) / 1e6:.1f} MB")


def test_a_golfer_beyond_the_benchmarks_has_no_efficient_carry():
    told = rows_of(study_payload(beyond("1"), played("2")))[code("1")]
    assert (told["efficient_yd"], told["lost_yd"], told["band_mph"]) == (None, None, None)
    assert told["do"] == "Wait for more golfers at this speed"


def test_loft_and_attack_come_from_the_table():
    rows, others = CASES["advice of each kind"]
    table = {row["golfer"]: row for row in table_of(Delivery, others["Delivery"]).to_dicts()}
    advice = study_payload(*rows, **others)["stories"][code("1")]["advice"][0]
    assert table[code("1")]["gain_yd"] == 6.0
    assert "Try 2 degrees more loft with a coach: it should add about 6 yd." in advice["try"]


@pytest.mark.parametrize("name", CASES)
def test_in_metres_figures_are_whole_metres_that_add_up_and_no_yard_is_said(name):
    rows, others = CASES[name]
    tables, settings = tables_of(rows, **others), SETTINGS | {"units": "metres"}
    payload = payload_of(tables=tables, frontier=FRONTIER, drives=drives_of(rows), settings=settings)

    def metres(yd):
        found = yd / METRIC.yd_each
        assert found == pytest.approx(round(found), abs=1e-5)
        return round(found)

    shown = {(row["golfer"], row["quarter"]): shown_losses(row, METRIC) for row in table_of(Golfers, rows).to_dicts()}
    for golfer, story in payload["stories"].items():
        for told in story["quarters"]:
            assert metres(told["carry_yd"]) == shown[golfer, told["quarter"]]["carry_yd"]
            if told["lost_yd"] is not None:
                assert metres(told["lost_yd"]) == metres(told["efficient_yd"]) - metres(told["carry_yd"])
                parts = [part for part in told["parts"].values() if part is not None]
                assert metres(told["lost_yd"]) == sum(map(metres, parts))
    said = [text for part in ("quarter", "stories") for text in strings(payload[part])]
    notes = {text for text in said if "the device x" in text}
    assert [text for text in said if re.search(r"\b(yd|mph|yards)\b", text) and text not in notes] == []


def test_in_metres_sentences_name_metres():
    rows, others = CASES["advice of each kind"]
    settings = SETTINGS | {"units": "metres"}
    tables, drives = tables_of(rows, **others), drives_of(rows)
    payload = payload_of(tables=tables, frontier=FRONTIER, drives=drives, settings=settings)
    assert payload["study"]["units"] == "metres"
    assert payload["quarter"]["first"][0]["why"] == "A low launch costs all of the 18 m lost."
    assert payload["quarter"]["good"][0]["what"] == "9 m fewer lost, 11 m more carry and 3.4 km/h more club speed"
    assert payload["quarter"]["rules"]["sure"].startswith("Sure: the whole range lies on one side of 9.1 m.")
