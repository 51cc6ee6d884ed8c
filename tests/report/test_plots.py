from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import same_color
from matplotlib.contour import QuadContourSet
from matplotlib.patches import Rectangle

from pipeline.bands import SpeedBands
from pipeline.report.figures.draw_figures import draw_all
from pipeline.report.figures.look import FLAG_COLOUR, band_colours
from pipeline.report.figures.plots import plot_carry_by_speed, plot_delivery, plot_losses
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import PARTS, Golfers

CENTRES = [70, 80, 90, 100, 110]
SPEED_BANDS = SpeedBands.of(CENTRES, 5)
FULL = np.full((37, 37), True)


def with_map(chart, place, **changes):
    """Give the chart with one band's map changed."""
    maps = [replace(one, **changes) if index == place else one for index, one in enumerate(chart.bands)]
    return replace(chart, bands=maps)


def carry_figure(golfers, bands, chart):
    figure = plot_carry_by_speed(golfers, bands, chart, SPEED_BANDS, min_golfers=5)
    return figure.axes[0]


def delivery_figure(golfers, bands, chart, band_mph):
    figure = plot_delivery(golfers, bands, chart, SPEED_BANDS, band_mph=band_mph, tolerance_yd=5, min_golfers=5)
    return figure.axes[0]


def painted(axes, places):
    """Say which places (spin, launch) of a drawn map have a color, by the picture's own pixels."""
    axes.grid(False)
    canvas = FigureCanvasAgg(axes.figure)
    canvas.draw()
    pixels = np.asarray(canvas.buffer_rgba())[::-1, :, :3]
    x, y = np.floor(axes.transData.transform(places)).astype(int).T
    return (pixels[y, x] < 254).any(axis=-1)


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
    for status, label in (("flagged", "golfer, flagged"), ("clear", "golfer, not flagged")):
        some = newest(golfers, status).filter(drawn)
        assert some.height > 5
        assert places(axes, label) == expected(some, "club_speed_mph", "carry_yd")
    assert places(axes, "golfer, not assessed") == expected(
        newest(golfers, "not_assessed").filter(drawn), "club_speed_mph", "carry_yd"
    )
    assert "Golfers of bands with fewer than 5 golfers are not drawn." in texts(axes)


def test_flagged_golfers_stand_out_by_colour_and_marker(golfers, bands, chart):
    axes = carry_figure(golfers, bands, chart)
    flagged, clear = points(axes, "golfer, flagged"), points(axes, "golfer, not flagged")

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
    assert len(places(axes, "golfer, flagged")) > 5


def test_delivery_map_shows_the_window_and_the_golfers_of_the_band(golfers, bands, chart):
    axes = delivery_figure(golfers, bands, chart, 90)

    window = next(patch for patch in axes.patches if isinstance(patch, Rectangle))
    assert window.get_bbox().bounds == (2100.0, 11.5, 800.0, 3.0)
    assert same_color(window.get_edgecolor(), band_colours(CENTRES)[90])
    inside = newest(golfers, "clear").filter(pl.col("club_speed_mph").is_between(85, 95))
    assert inside.height > 3
    assert places(axes, "golfer, not flagged") == expected(inside, "spin_rpm", "launch_deg")
    assert same_color(points(axes, "golfer, not flagged").get_facecolor()[0], band_colours(CENTRES)[90])
    assert axes.get_title(loc="left").endswith("hill-school, 2026Q3; efficient carry 215 yd")


def test_delivery_map_is_blank_where_the_lookup_refuses(golfers, bands, chart):
    axes = delivery_figure(golfers, bands, chart, 90)

    seen = painted(axes, np.array([[2500, 12.1], [3300, 14], [1300, 18], [4500, 13], [2500, 19.3], [2500, 18.7]]))

    assert seen.tolist() == [True, True, False, False, False, True]


def test_golfers_and_window_outside_the_map_are_not_cut(golfers, bands, chart):
    far = golfers.with_columns(
        spin_rpm=pl.when(pl.col("club_speed_mph").is_between(88, 92)).then(pl.lit(6100.0)).otherwise("spin_rpm")
    )
    chart = with_map(chart, 2, window=replace(chart.bands[2].window, launch_lo_deg=2.0))

    axes = delivery_figure(Golfers.validate(far), bands, chart, 90)

    assert axes.get_xlim()[1] > 6100
    assert axes.get_ylim()[0] < 2.0


def test_points_on_the_edge_of_the_map_are_not_cut(golfers, bands, chart):
    axes = delivery_figure(golfers, bands, chart, 80)

    assert axes.get_xlim()[0] < 1200  # the lowest spin with an answer
    assert axes.get_ylim()[0] < 7.5


def test_band_without_a_window_says_so(golfers, bands, chart):
    axes = delivery_figure(golfers, bands, chart, 70)

    assert [patch for patch in axes.patches if isinstance(patch, Rectangle)] == []
    assert texts(axes).endswith("Window: none at this speed.")


@pytest.mark.parametrize("whole_band_missing", [False, True])
def test_suppressed_band_without_answers_shows_nobody_and_says_why(golfers, bands, chart, whole_band_missing):
    if whole_band_missing:
        chart = replace(chart, bands=chart.bands[:4])

    axes = delivery_figure(golfers, bands, chart, 110)

    assert list(axes.collections) == []
    assert "Too few deliveries at this speed for a map of expected carry." in texts(axes)
    assert "Golfers are not drawn: a band here has fewer than 5." in texts(axes)
    assert list(axes.get_xticks()) == []


@pytest.mark.parametrize(("spread_yd", "step_yd"), [(6, 1), (18, 2), (44, 5), (70, 10), (150, 20)])
def test_contours_are_some_whole_yards_apart(golfers, bands, chart, spread_yd, step_yd):
    slope = np.linspace(150.5, 150.5 + spread_yd, 37)
    chart = with_map(chart, 2, expected_carry_yd=np.tile(slope, (37, 1)), reachable=FULL)

    axes = delivery_figure(golfers, bands, chart, 90)

    lines = next(drawn for drawn in axes.collections if isinstance(drawn, QuadContourSet) and not drawn.filled)
    assert set(np.diff(lines.levels)) == {step_yd}
    assert 150.5 < lines.levels[0] < 150.5 + step_yd + 1e-9


def test_flat_map_draws_without_contour_lines(golfers, bands, chart):
    chart = with_map(chart, 2, expected_carry_yd=np.full((37, 37), 200.0), reachable=FULL)

    axes = delivery_figure(golfers, bands, chart, 90)

    assert [drawn.filled for drawn in axes.collections if isinstance(drawn, QuadContourSet)] == [True]


def bars(axes):
    """Give the bars as an array: part, golfer, (left, right)."""
    boxes = [[bar.get_bbox() for bar in container] for container in axes.containers]
    return np.array([[(box.x0, box.x1) for box in row] for row in boxes])


def test_losses_stack_to_the_yards_lost_worst_first(golfers, chart):
    axes = plot_losses(golfers, chart).axes[0]

    flagged = newest(golfers, "flagged").sort("lost_yd", descending=True)
    drawn = bars(axes)
    parts = flagged.select(pl.col(*PARTS).fill_null(0)).to_numpy().T
    assert drawn.shape == (5, 11, 2)
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
    for name, figure in draw_all(golfers, bands, chart, settings).items():
        figure.draw_without_rendering()
        used, whole = figure.get_tightbbox(), figure.get_size_inches()
        assert used.x0 >= 0, name
        assert used.y0 >= 0, name
        assert used.x1 <= whole[0], name
        assert used.y1 <= whole[1], name
        assert any(unit in figure.axes[0].get_xlabel() for unit in (", mph", ", rpm", ", yd")), name
