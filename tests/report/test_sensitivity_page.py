"""The page of sensitivity: its sentences are the table's, and it opens anywhere."""

import re

import polars as pl
import pytest
from browser import serious_findings
from rows import table_of

from pipeline.errors import UserError
from pipeline.report.diagnostics import write_sensitivity
from pipeline.report.diagnostics.sensitivity_page import build_sensitivity, window_shifts
from pipeline.report.diagnostics.sensitivity_plots import plot_flags, plot_moves
from pipeline.report.diagnostics.sensitivity_words import (
    apart,
    flags_heading,
    flags_sentences,
    verdict_heading,
    verdict_sentences,
)
from pipeline.research.sensitivity.verdict import verdicts
from pipeline.tables.figures import Scores
from pipeline.tables.sensitivity import Sensitivity

SCRIPT = "<script>alert(1)</script>"
SETTINGS = {"study": "hill-school", "privacy": {"min_golfers": 5}}
REACH = {80.0: 1.5, 110.0: 2.2}
CARRY = {80.0: 190.0, 110.0: 283.0}
WINDOW = {"launch_lo_deg": 12.0, "launch_hi_deg": 14.0, "spin_lo_rpm": 2400.0, "spin_hi_rpm": 2800.0}

# Scenario, choice, kind, moves at 80 and 110 mph, joined, left, gone.
CASES = (
    ("as it is", "base", "base", (0.0, 0.0), 0, 0, 0),
    ("flight set lyu-2018", "flight", "alternative", (-0.6, 3.1), 1, 2, 0),
    ("flight set smits-smith-1994", "flight", "alternative", (0.2, -2.8), 0, 1, 0),
    (f"without device {SCRIPT}", "device", "alternative", (1.4, -0.3), 0, 0, 7),
    ("candidate line", "candidate", "rejected", (9.0, -9.0), 6, 0, 0),
    ("90 % of deliveries", "deliveries", "definition", (0.4, 4.5), 0, 0, 0),
)


def rows_of(cases=CASES, flagged=20, assessed=50):
    for scenario, choice, kind, moves, joined, left, gone in cases:
        same = {"scenario": scenario, "choice": choice, "kind": kind, "drives": 3000, "golfers": 50, "note": None}
        for (band, reach), move in zip(REACH.items(), moves, strict=True):
            held = abs(move) <= reach if kind == "alternative" else None
            figures = {"efficient_carry_yd": CARRY[band] + move, "move_yd": move, "reach_yd": reach, "held": held}
            edges = {
                name: value + (0.5 if name == "launch_hi_deg" and move > 2 else 0) for name, value in WINDOW.items()
            }
            yield same | figures | edges | {"band_mph": band, "launch_deg": 13.0, "spin_rpm": 2600.0}
        counts = {"assessed": assessed - gone, "flagged": flagged + joined - left - gone}
        yield same | counts | {"joined": joined, "left": left, "gone": gone, "lost_move_yd": moves[1] / 2}


@pytest.fixture(scope="module")
def table():
    return table_of(Sensitivity, list(rows_of()))


@pytest.fixture(scope="module")
def scores():
    rows = [
        {"model": "line", "terms": 4, "rmse_yd": 9.0, "chosen": False, "shots": 3000, "golfers": 50},
        {"model": "quadratic", "terms": 10, "rmse_yd": 3.0, "chosen": True, "shots": 3000, "golfers": 50},
    ]
    return table_of(Scores, rows)


@pytest.fixture(scope="module")
def page(table, scores):
    return build_sensitivity(table, scores, SETTINGS)


def cells(page, name):
    """Give the cells of a table's body as text, a list a row."""
    body = re.search(rf'id="{name}-table".*?<tbody[^>]*>(.*?)</tbody>', page, flags=re.DOTALL).group(1)
    rows = re.findall(r"<tr>(.*?)</tr>", body, flags=re.DOTALL)
    return [re.findall(r"<td[^>]*>(.*?)</td>", row) for row in rows]


def test_sentences_say_what_the_table_says(table):
    found = verdict_sentences(verdicts(table))
    assert found == [
        "At 80 mph the interval holds all 3 alternatives: the largest move is 1.4 yd, the interval reaches 1.5 yd.",
        "At 110 mph the choice of flight set moves efficient carry by 3.1 yd (flight set lyu-2018); "
        "the interval reaches 2.2 yd.",
    ]
    assert verdict_heading(verdicts(table)) == (
        "The interval of efficient carry holds every alternative at 1 of 2 bands: the choice of flight set goes beyond "
        "it at 110 mph"
    )
    assert [(one.alternatives, one.outside) for one in verdicts(table)] == [(3, 0), (3, 2)]


def test_every_choice_beyond_the_interval_is_named():
    more = (*CASES[:3], ("without quarter 2026Q1", "quarter", "alternative", (2.0, 2.4), 0, 0, 0))
    found = verdicts(table_of(Sensitivity, list(rows_of(more))))
    assert verdict_heading(found) == (
        "The interval of efficient carry holds every alternative at none of 2 bands: leaving out a quarter goes beyond "
        "it at 80 and 110 mph and the choice of flight set goes beyond it at 110 mph"
    )
    assert verdict_sentences(found)[1:] == [
        "At 110 mph the choice of flight set moves efficient carry by 3.1 yd (flight set lyu-2018); "
        "the interval reaches 2.2 yd.",
        "At 110 mph leaving out a quarter moves efficient carry by 2.4 yd (without quarter 2026Q1); "
        "the interval reaches 2.2 yd.",
    ]


def test_where_all_is_held_the_heading_says_so():
    calm = (*CASES[:1], ("without quarter 2026Q1", "quarter", "alternative", (0.1, -0.2), 0, 0, 0))
    found = table_of(Sensitivity, list(rows_of(calm)))
    assert verdict_heading(verdicts(found)) == (
        "The interval of efficient carry holds every alternative, at all 2 bands"
    )
    whole = found.filter(pl.col("band_mph").is_null())
    assert flags_heading(whole) == "All 20 flags stay with every alternative"


def test_flags_are_told_with_the_scenario_that_changes_most(table):
    whole = table.filter(pl.col("band_mph").is_null())
    # The rejected candidate changes 6, which doesn't count.
    assert flags_heading(whole) == "At most 3 of 20 flags change with any alternative"
    assert flags_sentences(whole) == [
        "As it is, 20 of 50 golfers assessed in the newest quarter are flagged.",
        "Most change with flight set lyu-2018: 1 joins, 2 leave.",
        "The median golfer's yards lost move by -1.4 to +1.6 yd.",
        "Who has no drives left in a scenario isn't assessed there; such flags are counted apart.",
    ]


def test_figures_as_near_as_a_tenth_get_another_digit():
    assert apart(-2.24, 2.2) == ("2.24", "2.20")
    assert apart(3.1, 2.2) == ("3.1", "2.2")


def test_tables_hold_the_moves(page):
    rows = cells(page, "moves")
    assert rows[0] == ["reach of the 90 % interval", "1.5", "2.2", ""]
    assert rows[1] == ["flight set lyu-2018", "-0.6", "+3.1", "1 of 2 bands"]
    assert rows[4] == ["candidate line", "+9.0", "-9.0", "not asked"]
    assert cells(page, "definitions") == [["90 % of deliveries", "+0.4", "+4.5"]]
    assert cells(page, "flags")[1] == ["flight set lyu-2018", "50", "19", "1", "2", "0", "1.6"]
    assert cells(page, "windows")[0] == ["flight set lyu-2018", "0.5", "0"]


def test_dots_stand_where_the_table_says(table):
    rows = table.filter((pl.col("kind") == "alternative") & pl.col("band_mph").is_not_null())
    figure = plot_moves(rows, REACH, shaded=True)
    assert [axes.get_xlabel() for axes in figure.axes] == ["At 80 mph,\nyd", "At 110 mph,\nyd"]
    inside, beyond = (one.get_offsets()[:, 0].tolist() for one in figure.axes[1].collections[1:])
    assert (inside, beyond) == ([-0.3], [3.1, -2.8])
    assert [label.get_text() for label in figure.axes[0].get_yticklabels()][:2] == [case[0] for case in CASES[1:3]]


def test_bars_add_up_to_the_flags(table):
    axes = plot_flags(table.filter(pl.col("band_mph").is_null()), 20).axes[0]
    stay, leave, gone, join = ([bar.get_width() for bar in part] for part in axes.containers)
    assert stay == [20, 18, 19, 13, 20, 20]
    assert (leave, gone, join) == ([0, 2, 1, 0, 0, 0], [0, 0, 0, 7, 0, 0], [0, 1, 0, 0, 6, 0])


def test_headings_say_what_was_found(page):
    found = re.findall(r"<h2>(.*?)</h2>", page)
    assert found[1:] == [
        "At most 3 of 20 flags change with any alternative",
        "An edge of a window shifts by up to 0.5 deg and 0 rpm with the alternatives",
        "Another definition of efficient moves it by up to 4.5 yd",
        "What was done",
    ]
    assert "The interval isn&#39;t asked to hold candidate line: on golfers held out" in page


def test_windows_shift_from_those_of_the_base(table):
    shifts = window_shifts(table.filter(pl.col("band_mph").is_not_null()))
    assert shifts["scenario"].to_list() == [case[0] for case in CASES[1:]]
    assert shifts["launch_deg"].to_list() == [0.5, 0.0, 0.0, 0.5, 0.5]


def test_a_sample_of_golfers_is_told(table, scores):
    many = scores.with_columns(golfers=pl.lit(200_000), shots=pl.lit(4_000_000))
    page = build_sensitivity(table, many, SETTINGS)
    assert "Scenarios are tried on 3,000 drives of 50 of them, drawn at random." in page
    assert "drawn at random" not in build_sensitivity(table, scores, SETTINGS)


def test_without_efficient_carry_the_page_says_so(scores):
    rows = [row for row in rows_of() if "band_mph" not in row]
    page = build_sensitivity(table_of(Sensitivity, rows), scores, SETTINGS)
    assert "No band has an efficient carry, so there is nothing to move" in page
    assert page.count("<img") == 1


def test_text_of_logs_stays_text_and_the_page_needs_no_other_file(page):
    assert "<script" not in page
    assert "without device &lt;script&gt;" in page
    assert {source.partition(",")[0] for source in re.findall(r'\bsrc="([^"]*)"', page)} == {"data:image/png;base64"}
    assert re.findall(r"https?://|@import|url\(|<link", page) == []


def test_step_writes_the_page(table, scores, page, tmp_path):
    table.write_csv(tmp_path / "sensitivity.csv")
    scores.write_csv(tmp_path / "scores.csv")
    paths = [str(tmp_path / name) for name in ("sensitivity.csv", "scores.csv", "sensitivity.html")]
    write_sensitivity.run(*paths, settings=SETTINGS)
    assert (tmp_path / "sensitivity.html").read_text(encoding="utf-8") == page
    table.with_columns(held=pl.lit(True)).write_csv(paths[0])
    with pytest.raises(UserError, match=r"sensitivity\.csv: is not a valid Sensitivity table"):
        write_sensitivity.run(*paths, settings=SETTINGS)


@pytest.mark.parametrize("width", [1280, 390])
def test_page_is_quiet_and_accessible(page, tmp_path, open_page, width):
    path = tmp_path / "sensitivity.html"
    path.write_text(page, encoding="utf-8")
    seen = open_page(path, width=width, height=844).page
    assert serious_findings(seen) == []
    assert seen.evaluate("document.documentElement.scrollWidth") <= width
