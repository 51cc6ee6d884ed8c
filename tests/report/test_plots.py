from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from matplotlib.colors import same_color

from pipeline.bands import SpeedBands
from pipeline.report.figures.draw_figures import draw_figures
from pipeline.report.figures.draw_maps import draw_maps
from pipeline.report.figures.drawn import Drawn
from pipeline.report.figures.look import FLAG_COLOUR, band_colours
from pipeline.report.figures.plots import plot_carry_by_speed, plot_losses
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import PARTS, Golfers

CENTRES = [70, 80, 90, 100, 110]
SPEED_BANDS = SpeedBands.of(CENTRES, 5)


def carry_figure(golfers, bands, chart):
    figure = plot_carry_by_speed(golfers, bands, chart, SPEED_BANDS, min_golfers=5)
    return figure.axes[0]


def points(axes, label):
    """Give the collection of points with a label; None if there is none."""
    return next((drawn for drawn in axes.collections if drawn.get_label() == label), None)


def places(axes, label):
    return sorted(map(tuple, points(axes, label).get_offsets().data.tolist()))


def expected(golfers, *columns):
    return sorted(golfers.select(columns).rows())


def texts(axes):
    return " ".join(text.get_text() for text in axes.texts)


def newest(golfers, status):
    return golfers.filter((pl.col("quarter") == "2026Q3") & (pl.col("status") == status))


def test_carry_figure_shows_the_newest_quarters_golfers_by_status(golfers, bands, chart):
    axes = carry_figure(golfers, bands, chart)

    drawn = pl.col("club_speed_mph") < 105  # 110 mph is suppressed
    for status, label in (("flagged", "flagged"), ("clear", "not flagged")):
        some = newest(golfers, status).filter(drawn)
        assert some.height > 5
        assert places(axes, label) == expected(some, "club_speed_mph", "carry_yd")
    assert places(axes, "not assessed") == expected(
        newest(golfers, "not_assessed").filter(drawn), "club_speed_mph", "carry_yd"
    )
    assert "Golfers of bands with fewer than 5 golfers are not drawn." in texts(axes)


def test_flagged_golfers_stand_out_by_colour_and_marker(golfers, bands, chart):
    axes = carry_figure(golfers, bands, chart)
    flagged, clear = points(axes, "flagged"), points(axes, "not flagged")

    assert same_color(flagged.get_facecolor()[0], FLAG_COLOUR)
    assert not same_color(clear.get_facecolor()[0], FLAG_COLOUR)
    assert len(flagged.get_paths()[0].vertices) != len(clear.get_paths()[0].vertices)


def test_carry_figure_shows_percentiles_in_the_bands_colours(golfers, bands, chart):
    axes = carry_figure(golfers, bands, chart)

    shown = bands.filter((pl.col("quarter") == "2026Q3") & ~pl.col("suppressed"))
    bars = axes.collections[1]
    ends = [(x, low, high) for (x, low), (_, high) in np.array(bars.get_segments()).tolist()]
    assert ends == shown.select("band_mph", "carry_p25_yd", "carry_p75_yd").rows()
    for colour, centre in zip(bars.get_colors(), (70, 80, 90, 100), strict=True):
        assert same_color(colour[:3], band_colours(CENTRES)[centre])


def test_efficient_curve_has_gaps_where_it_is_not_supported(golfers, bands, chart):
    axes = carry_figure(golfers, bands, chart)

    curve = next(line for line in axes.lines if line.get_label() == "efficient carry")
    carry = chart.efficient_carry_yd
    np.testing.assert_array_equal(curve.get_ydata(), carry)
    assert np.isnan(carry).sum() == 12
    assert points(axes, "efficient carry, 90 % interval") is not None


def test_carry_figure_without_any_support_still_draws_the_golfers(golfers, bands, chart):
    nothing = np.full_like(chart.speeds_mph, np.nan)
    edges = ("efficient_carry_yd", "efficient_lo90_yd", "efficient_hi90_yd")
    chart = replace(chart, **dict.fromkeys(edges, nothing))
    all_hidden = bands.with_columns(
        pl.lit(None).alias(name) for name in bands.columns if name not in ("quarter", "band_mph", "suppressed")
    )

    axes = carry_figure(golfers, BandTable.validate(all_hidden, cast=True), chart)

    assert list(axes.lines) == []
    assert len(places(axes, "flagged")) > 5


def bars(axes):
    """Give the bars as an array: part, golfer, (left, right)."""
    boxes = [[bar.get_bbox() for bar in container] for container in axes.containers]
    return np.array([[(box.x0, box.x1) for box in row] for row in boxes])


@pytest.mark.parametrize("curve_yd", [None, 4.0])
def test_losses_stack_to_the_yards_lost_worst_first(golfers, chart, curve_yd):
    # What the curve costs has a bar where it is known, and no word in the legend where no log has it.
    curve = pl.lit(curve_yd, pl.Float64)
    golfers = golfers.with_columns(lost_curve_yd=curve, lost_other_yd=pl.col("lost_other_yd") - curve.fill_null(0.0))
    axes = plot_losses(golfers, chart).axes[0]

    flagged = newest(golfers, "flagged").sort("lost_yd", descending=True)
    drawn = bars(axes)
    told = [part for part in PARTS if curve_yd is not None or part != "lost_curve_yd"]
    parts = flagged.select(pl.col(told).fill_null(0)).to_numpy().T
    assert drawn.shape == (len(told), 11, 2)
    assert len(told) == (5 if curve_yd is None else 6)
    np.testing.assert_allclose(np.abs(drawn[..., 1] - drawn[..., 0]), np.abs(parts), atol=1e-9)
    # What reaches right of 0 less what reaches left of it is what was lost.
    np.testing.assert_allclose(
        drawn.max(axis=(0, 2)) + np.minimum(drawn.min(axis=(0, 2)), 0), flagged["lost_yd"].to_numpy(), atol=1e-9
    )
    labels = [label.get_text() for label in axes.get_yticklabels()]
    assert [label[:6] for label in labels] == flagged["golfer"].str.head(6).to_list()
    assert axes.get_ylim()[0] > axes.get_ylim()[1]  # the first row is at the top


def test_golfer_without_ball_speed_has_a_star(golfers, chart):
    axes = plot_losses(golfers, chart).axes[0]

    flagged = newest(golfers, "flagged").sort("lost_yd", descending=True)
    starred = ["*" in label.get_text() for label in axes.get_yticklabels()]
    assert starred == flagged["lost_contact_yd"].is_null().to_list()
    assert any(starred)
    assert "ball speed not" in axes.get_ylabel()


def test_losses_show_the_worst_25_and_say_so(golfers, chart):
    many = golfers.filter(pl.col("status") != "not_assessed").with_columns(
        quarter=pl.lit("2026Q3"), flagged=pl.lit(True), status=pl.lit("flagged").cast(golfers.schema["status"])
    )

    figure = plot_losses(Golfers.validate(many), chart)

    axes = figure.axes[0]
    assert many.height == 62
    assert bars(axes).shape[1] == 25
    assert "(the worst 25 of 62)" in axes.get_title(loc="left")
    assert figure.get_size_inches().tolist() == pytest.approx([10, 10.4])


def test_nobody_flagged_is_said_on_the_figure(golfers, chart):
    chart = replace(chart, quarter="2026Q4")

    axes = plot_losses(golfers, chart).axes[0]

    assert texts(axes) == "No golfer is flagged in this quarter."
    assert axes.containers == []


def test_unknown_interval_draws_no_line(golfers, chart):
    table = golfers.with_columns(lost_lo90_yd=pl.lit(None, pl.Float64), lost_hi90_yd=pl.lit(None, pl.Float64))

    axes = plot_losses(Golfers.validate(table), chart).axes[0]

    assert sum(len(segment) for segment in axes.collections[0].get_segments()) == 0
    assert bars(axes).shape == (5, 11, 2)


def test_nothing_is_cut_off_and_every_axis_has_its_unit(golfers, bands, chart, settings):
    shown = Drawn(golfers, bands, chart, SPEED_BANDS)
    drawn = draw_figures(shown, min_golfers=5) | draw_maps(shown, settings)
    assert len(drawn) == 2 + 2 * len(CENTRES)
    for name, figure in drawn.items():
        figure.draw_without_rendering()
        used, whole = figure.get_tightbbox(), figure.get_size_inches()
        assert used.x0 >= 0, name
        assert used.y0 >= 0, name
        assert used.x1 <= whole[0], name
        assert used.y1 <= whole[1], name
        assert any(unit in figure.axes[0].get_xlabel() for unit in (", mph", ", rpm", ", yd")), name
