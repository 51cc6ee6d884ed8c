import base64
import re
from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from browser import serious_findings
from small_academy import CENTRES, FLIGHT, FORMULA, SCRIPT, SETTINGS

from pipeline.bands import SpeedBands
from pipeline.drives import Drives
from pipeline.errors import UserError
from pipeline.fit.model import Delivery
from pipeline.physics.air import Air
from pipeline.report.diagnostics import diagnostics_page, write_diagnostics
from pipeline.report.diagnostics.diagnostics import (
    calibration,
    coverage_by_band,
    held_out_residuals,
    influence,
    most_influential,
    residuals_along,
    residuals_by_level,
)
from pipeline.report.diagnostics.diagnostics_page import build_diagnostics
from pipeline.report.diagnostics.diagnostics_plots import (
    plain_label,
    plot_calibration,
    plot_contest,
    plot_coverage,
    plot_influence,
    plot_levels,
    plot_residuals,
)
from pipeline.report.figures.look import figure_bytes
from pipeline.report.palette import palette_css
from pipeline.shown import number_text

EFFICIENT = Delivery(np.array([80.0, 110.0]), np.full(2, np.nan), np.array([14.0, 12.0]), np.array([2700.0, 2300.0]))
NOWHERE = Delivery(*(np.zeros(0) for _ in range(4)))
BY_FLIGHT = (FLIGHT.calibration.ball, Air.of(15.0, 101325.0, 0.0))


@pytest.fixture(scope="module")
def page(academy):
    return build_diagnostics(
        drives=academy.drives,
        held_out=academy.held_out,
        scores=academy.scores,
        model=academy.model,
        efficient=EFFICIENT,
        half_width_yd=np.array([1.0, 1.2]),
        flight=BY_FLIGHT,
        settings=SETTINGS,
    )


@pytest.fixture(scope="module")
def residuals(academy):
    return held_out_residuals(academy.drives, academy.held_out, SpeedBands(CENTRES, 5.0))


def cells(page, name):
    """Give the cells of a table's body as text, a list a row."""
    body = re.search(rf'id="{name}-table".*?<tbody[^>]*>(.*?)</tbody>', page, flags=re.DOTALL).group(1)
    rows = re.findall(r"<tr>(.*?)</tr>", body, flags=re.DOTALL)
    return [re.findall(r"<td[^>]*>(.*?)</td>", row) for row in rows]


def test_tables_on_the_page_hold_the_computed_figures(page, academy, residuals):
    moves = influence(academy.model, academy.drives, EFFICIENT)
    by_quarter = residuals_by_level(residuals, "quarter", 5)
    assert [row[:4] for row in cells(page, "quarter")] == [
        [r["level"], str(r["golfers"]), str(r["drives"]), number_text(r["mean"], 2)] for r in by_quarter.to_dicts()
    ]
    assert [row[0::3] for row in cells(page, "coverage")] == [
        [f"{r['band_mph']:g}", number_text(100 * r["mean"], 1)] for r in coverage_by_band(residuals, 5).to_dicts()
    ]
    inside = calibration(academy.held_out, academy.drives["golfer"]).filter(pl.col("known") == "all inputs known")
    assert [row[1] for row in cells(page, "calibration")] == [number_text(100 * v, 1) for v in inside["inside"]]
    named = most_influential(moves, 10)
    assert [row[0::3] for row in cells(page, "influence")] == [
        [r["golfer"], number_text(r["move_yd"], 2)] for r in named.to_dicts()
    ]
    contest = [
        [r["model"], number_text(r["rmse_yd"], 2), number_text(r["rmse_std_error_yd"], 2)]
        for r in academy.scores.to_dicts()
    ]
    assert [[row[0], *row[4:6]] for row in cells(page, "contest")] == contest


def test_text_of_logs_stays_text(page):
    assert "<script" not in page
    assert [row[0] for row in cells(page, "device")] == ["&lt;script&gt;alert(1)&lt;/script&gt;", "unit-A"]
    assert "{{ 7*7 }}" in page
    assert "49" not in cells(page, "ball")[0][0]


def test_name_of_a_model_stays_text(academy):
    page = build_diagnostics(
        drives=academy.drives, held_out=academy.held_out, scores=academy.scores.with_columns(model=pl.lit(SCRIPT)),
        model=academy.model, efficient=NOWHERE, half_width_yd=np.zeros(0),
        flight=BY_FLIGHT, settings=SETTINGS,
    )  # fmt: skip
    assert "<script" not in page
    assert "Model: &lt;script&gt;alert(1)&lt;/script&gt;," in page


def test_a_forced_model_is_not_called_the_contests(page, academy):
    assert "The simplest one left of the dashed line is chosen." in page
    assert "the better quarter's strike are kept" in page
    other = academy.scores["model"] == "line"
    forced = build_diagnostics(
        drives=academy.drives, held_out=academy.held_out, scores=academy.scores.with_columns(chosen=other),
        model=replace(academy.model, usual=replace(academy.model.usual, strike=0.9)), efficient=EFFICIENT,
        half_width_yd=np.ones(2), flight=BY_FLIGHT, settings=SETTINGS,
    )  # fmt: skip
    assert "dashed line is quadratic; the study names line as the model to use." in forced
    assert "is chosen." not in forced
    assert "the best tenth's strike are kept" in forced


def test_page_needs_no_other_file(page):
    assert {source.partition(",")[0] for source in re.findall(r'\bsrc="([^"]*)"', page)} == {"data:image/png;base64"}
    assert re.findall(r"https?://|@import|url\(|<link", page) == []


def test_page_links_to_the_pages_beside_it(page):
    links = re.findall(r'<a href="([^"]*)"', page)
    assert links == ["../report/academy.html", "../report/academy.html#data", "../report/lookup.html"]


def test_page_takes_the_palette(page):
    assert palette_css() in page


def test_every_figure_is_in_the_page_with_a_text(page, academy):
    found = re.findall(r'<img src="data:image/png;base64,([^"]*)" alt="([^"]{30,})"', page)
    assert len(found) == 7
    assert base64.b64decode(found[-1][0]) == figure_bytes(plot_contest(academy.scores), "png")


def test_page_without_efficient_carry_says_so(academy):
    page = build_diagnostics(
        drives=academy.drives, held_out=academy.held_out, scores=academy.scores, model=academy.model, efficient=NOWHERE,
        half_width_yd=np.zeros(0), flight=BY_FLIGHT, settings=SETTINGS,
    )  # fmt: skip
    assert "No band has an efficient carry, so there is nothing to move." in page


@pytest.mark.parametrize("known", [True, False])
def test_residuals_are_drawn_against_the_inputs_that_are_known(academy, monkeypatch, known):
    drives = academy.drives if known else academy.drives.with_columns(ball_speed_mph=pl.lit(None, pl.Float64))
    drawn = []

    def plot(residuals, along):
        drawn.extend(along)
        return plot_residuals(residuals, along)

    monkeypatch.setattr(diagnostics_page, "plot_residuals", plot)
    monkeypatch.setattr(diagnostics_page, "gather_evidence", lambda _: [])  # the model is one over ball speed
    build_diagnostics(
        drives=drives, held_out=academy.held_out, scores=academy.scores, model=academy.model, efficient=NOWHERE,
        half_width_yd=np.zeros(0), flight=BY_FLIGHT, settings=SETTINGS,
    )  # fmt: skip
    assert drawn == ["club_speed_mph", *(["ball_speed_mph"] if known else []), "launch_deg", "spin_rpm"]


def test_labels_of_figures_are_plain():
    assert plain_label(SCRIPT) == "?script?alert(1)?/sc.."
    assert plain_label("$\\frac$ 東") == "??frac? ?"
    assert plain_label("unit-A") == "unit-A"


def test_every_axis_has_its_unit(academy, residuals):
    along = {name: residuals_along(residuals, name, 5) for name in ("club_speed_mph", "launch_deg", "spin_rpm")}
    drawn = [
        plot_residuals(residuals, along),
        plot_levels({"device": residuals_by_level(residuals, "device", 5)}),
        plot_calibration(calibration(academy.held_out, academy.drives["golfer"])),
        plot_coverage(coverage_by_band(residuals, 5), CENTRES),
        plot_influence(influence(academy.model, academy.drives, EFFICIENT), CENTRES),
        plot_contest(academy.scores),
    ]
    for made in drawn:
        for axes in made.axes:
            if axes.get_visible():
                assert re.search(r", (mph|deg|rpm|yd|%)$", axes.get_xlabel()), axes.get_xlabel()
                assert axes.get_title() == ""
    assert [axes.get_ylabel() for axes in drawn[0].axes[:3]] == ["Residual, yd"] * 3


def test_figures_stand_where_the_tables_say(academy, residuals):
    covered = coverage_by_band(residuals, 5)
    points = plot_coverage(covered, CENTRES).axes[0].collections[1].get_offsets()
    assert points[:, 0].tolist() == pytest.approx((100 * covered["mean"]).to_list())
    contest = plot_contest(academy.scores).axes[0]
    assert contest.collections[1].get_offsets()[:, 0].tolist() == pytest.approx(academy.scores["rmse_yd"].to_list())
    best = academy.scores.sort("rmse_yd").row(0, named=True)
    assert contest.lines[0].get_xdata()[0] == pytest.approx(best["rmse_yd"] + best["rmse_std_error_yd"])
    assert [label.get_text() for label in contest.get_yticklabels()] == ["line", "quadratic (chosen)"]


def run(academy, folder, **changes):
    paths = academy.write(folder)
    used = {
        name: paths[name] for name in ("drives", "model", "held_out", "scores", "frontier", "calibration")
    } | changes
    write_diagnostics.run(**used, page=str(folder / "diagnostics.html"), settings=SETTINGS)
    return (folder / "diagnostics.html").read_text(encoding="utf-8")


def test_step_writes_the_page_with_every_band_of_the_frontier(academy, tmp_path):
    text = run(academy, tmp_path)
    reached = [speed for speed in academy.frontier.speed_mph.tolist() if speed in CENTRES]
    assert [float(row[0]) for row in cells(text, "moves")] == reached
    assert f"{academy.drives.height} drives of {academy.drives['golfer'].n_unique()} golfers" in text


def test_the_drives_of_many_golfers_are_read_no_more_often_than_they_were(academy, tmp_path, monkeypatch):
    passes, opened = [], write_diagnostics.open_drives
    golfers = academy.drives["golfer"].n_unique()

    def counting(*given):
        drives = opened(*given)

        def read():
            passes.append(1)
            return drives.read()

        return Drives(read)

    monkeypatch.setattr(write_diagnostics, "open_drives", counting)
    monkeypatch.setattr(write_diagnostics, "MOST_GOLFERS", golfers // 2)

    text = run(academy, tmp_path)

    assert f"of {-(-golfers // 2)} golfers" in text
    assert len(passes) == 3  # for the speed that carry goes by, for the sample, for the sums of all


@pytest.mark.parametrize("spoil", [lambda t: t.head(-1), lambda t: t.reverse(), lambda t: t.with_columns(row=1)])
def test_predictions_of_other_drives_are_refused(academy, tmp_path, spoil):
    other = tmp_path / "other.parquet"
    spoil(academy.held_out).write_parquet(other)
    with pytest.raises(UserError, match=r"other\.parquet: does not belong to .*drives\.parquet"):
        run(academy, tmp_path, held_out=str(other))


def test_page_is_quiet_and_accessible_and_prints(page, tmp_path, open_page):
    path = tmp_path / "diagnostics.html"
    path.write_text(page, encoding="utf-8")
    seen = open_page(path)
    assert serious_findings(seen.page) == []
    assert seen.page.evaluate("[...document.images].every(image => image.naturalWidth > 500)")
    # The ball's name is on the page as it was written.
    assert seen.page.locator("#ball-table td").first.inner_text() == FORMULA


def test_page_does_not_scroll_sideways_on_a_phone(page, tmp_path, open_page):
    path = tmp_path / "diagnostics.html"
    path.write_text(page, encoding="utf-8")
    phone = open_page(path, width=390, height=844).page
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390
    assert serious_findings(phone) == []
