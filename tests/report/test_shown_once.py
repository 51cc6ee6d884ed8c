"""A window has one text and a figure one rounding, whoever shows it: page, workbook, markdown."""

import io
from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from pipeline.benchmark.window import Window
from pipeline.report.shown_sums import (
    CHANGE_PARTS,
    DELIVERY_PARTS,
    GAP_PARTS,
    mean_change,
    shown_change,
    shown_goal,
    shown_losses,
)
from pipeline.report.shown_tables import show_bands
from pipeline.report.workbook.bands_text import bands_markdown
from pipeline.report.workbook.workbook import bands_workbook
from pipeline.shown import IMPERIAL, METRIC, window_text
from pipeline.tables.columns import facts_of
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import PARTS

# Off the steps, as in files that were kept before windows lay on them.
WINDOW = Window(14.62, 16.74, 2631.0, 3168.0)
LAUNCH, SPIN = "15.0 to 16.5 deg", "2,650 to 3,150 rpm"
EDGES = vars(WINDOW)


@pytest.fixture(scope="module")
def one_window(academy):
    """Give the academy with the same window at every club speed."""
    speeds = academy.frontier.speed_mph
    bands = academy.bands.with_columns(
        pl.when(pl.col("efficient_carry_yd").is_not_null()).then(pl.lit(edge)).alias(name)
        for name, edge in EDGES.items()
    )
    frontier = replace(academy.frontier, **{name: np.full(len(speeds), edge) for name, edge in EDGES.items()})
    return replace(academy, frontier=frontier, bands=BandTable.validate(bands))


def test_a_window_has_one_text_everywhere(one_window):
    assert window_text(WINDOW) == f"launch {LAUNCH}, spin {SPIN}"
    here = one_window.bands.filter((pl.col("quarter") == "2026Q3") & pl.col("efficient_carry_yd").is_not_null())
    assert here.height > 2
    shown = show_bands(one_window.bands, min_golfers=5).table.filter(pl.col("Quarter") == "2026Q3")
    cells = shown.select(pl.col("Launch window, deg") + " deg", pl.col("Spin window, rpm") + " rpm").rows()
    assert set(cells) == {(LAUNCH, SPIN)}
    assert f"| {LAUNCH.removesuffix(' deg')} | {SPIN.removesuffix(' rpm')} |" in bands_markdown(
        one_window.bands, min_golfers=5
    )
    book = pl.read_excel(io.BytesIO(bands_workbook(one_window.bands, title="Hill School")), sheet_name="bands")
    launch, spin = (facts_of(BandTable)[name] for name in ("launch_lo_deg", "spin_lo_rpm"))
    high = {name: facts_of(BandTable)[name].heading for name in ("launch_hi_deg", "spin_hi_rpm")}
    rows = book.drop_nulls(launch.heading)
    texts = {
        (f"{a:.1f} to {b:.1f} deg", f"{c:,.0f} to {d:,.0f} rpm")
        for a, b, c, d in rows.select(launch.heading, high["launch_hi_deg"], spin.heading, high["spin_hi_rpm"]).rows()
    }
    assert texts == {(LAUNCH, SPIN)}


@pytest.mark.parametrize("units", [IMPERIAL, METRIC])
def test_yards_lost_and_their_parts_add_up_as_shown(academy, units):
    assessed = academy.golfers.filter(pl.col("lost_yd").is_not_null())
    moved = 0
    for row in assessed.iter_rows(named=True):
        shown = shown_losses(row, units)
        assert shown["efficient_yd"] - shown["carry_yd"] == shown["lost_yd"]
        # These logs have no spin axis.
        parts = [part for part in PARTS if part != "lost_curve_yd"]
        assert shown["lost_curve_yd"] is None
        assert sum(shown[part] for part in parts) == shown["lost_yd"]
        assert shown["carry_yd"] == units.distance_whole(row["carry_yd"])
        for name in ("lost_yd", *parts):
            assert abs(shown[name] - row[name] / units.yd_each) < 1.5
        moved += sum(units.distance_whole(row[part]) for part in parts) != shown["lost_yd"]
    assert moved > 20  # each part rounded by itself would often miss the sum


def test_who_changes_what_is_shown_of_a_row_changes_nothing_for_others():
    row = {"efficient_yd": 230.4, "carry_yd": 220.6, "lost_yd": 9.8}
    shown_losses(row)["lost_yd"] = 99
    assert shown_losses(row)["lost_yd"] == 230 - 221
    assert shown_losses(row, METRIC)["lost_yd"] == 211 - 202


def test_a_goal_and_a_change_add_up_as_shown():
    goal = {"goal_yd": 241.4, "carry_yd": 201.5, "gap_yd": 39.9, "delivery_yd": 12.4, "speed_yd": 27.5}
    shown = shown_goal(goal)
    assert (shown["goal_yd"], shown["carry_yd"], shown["gap_yd"]) == (241, 202, 39)
    assert sum(shown[part] for part in GAP_PARTS) == 39
    change = dict(zip(("carry_change_yd", *CHANGE_PARTS), (7.4, 4.45, 2.5, 0.45), strict=True))
    change |= dict(zip(DELIVERY_PARTS, (None, 1.4, 0.6, 0.5), strict=True))
    told = shown_change(change)
    assert sum(told[part] for part in CHANGE_PARTS) == told["carry_change_yd"] == 7
    known = [told[part] for part in DELIVERY_PARTS[1:]]
    assert told[DELIVERY_PARTS[0]] is None
    assert sum(known) == told["carry_from_delivery_yd"]
    tenths = mean_change(change)
    assert sum(tenths[part] for part in CHANGE_PARTS) == pytest.approx(tenths["carry_change_yd"]) == pytest.approx(7.4)
    assert mean_change(change | {"carry_from_other_yd": None}) == {}


def test_a_browser_rounds_as_we_do(open_page, tmp_path):
    file = tmp_path / "empty.html"
    file.write_text("<!DOCTYPE html><html lang='en'><title>empty</title><main><h1>empty</h1></main></html>")
    values = [*np.arange(-6, 6, 0.25).tolist(), *np.random.default_rng(3).uniform(-300, 300, 500).tolist()]
    found = open_page(file).page.evaluate("values => values.map((v) => Math.round(v) + 0)", values)
    assert found == [IMPERIAL.distance_whole(value) for value in values]
