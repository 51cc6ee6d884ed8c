"""The picture of a band, read back from what matplotlib drew."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import same_color, to_rgb
from matplotlib.contour import QuadContourSet
from matplotlib.patches import Rectangle
from matplotlib.path import Path

from pipeline.bands import SpeedBands
from pipeline.report.figures import band_map
from pipeline.report.figures.band_map import HEIGHT_IN, LEAST_FRAME, MARGIN, WIDTH_IN, plot_band_map
from pipeline.report.figures.look import figure_bytes
from pipeline.report.palette import DARK, LIGHT, MAP_REACH, THEMES
from pipeline.shown import IMPERIAL, Units
from pipeline.tables.golfers import Golfers

SPEED_BANDS = SpeedBands.of([70, 80, 90, 100, 110], 5)
FULL = np.full((37, 37), True)
METRIC = Units("metres", "km/h")


def with_map(chart, place, **changes):
    """Give the chart with one band's map changed."""
    maps = [replace(one, **changes) if index == place else one for index, one in enumerate(chart.bands)]
    return replace(chart, bands=maps)


def figure_of(golfers, bands, chart, band_mph=90, scheme=LIGHT, units=IMPERIAL):
    return plot_band_map(
        golfers, bands, chart, SPEED_BANDS, band_mph=band_mph, min_golfers=5, scheme=scheme, units=units
    )


def axes_of(*given, **more):
    return figure_of(*given, **more).axes[0]


def pixels_at(axes, places):
    """Give the colors of a drawn map at places (spin, launch), by the picture's own pixels."""
    for drawn in [*axes.lines, *axes.texts]:
        drawn.set_visible(False)
    canvas = FigureCanvasAgg(axes.figure)
    canvas.draw()
    pixels = np.asarray(canvas.buffer_rgba())[::-1, :, :3] / 255
    x, y = np.floor(axes.transData.transform(places)).astype(int).T
    return pixels[y, x]


def marks(axes, label):
    """Give the places of the marks with a label."""
    found = next((drawn for drawn in axes.collections if drawn.get_label() == label), None)
    return [] if found is None else sorted(map(tuple, found.get_offsets().data.tolist()))


def expected(golfers, *columns):
    return sorted(golfers.select(columns).rows())


def newest(golfers, status):
    return golfers.filter((pl.col("quarter") == "2026Q3") & (pl.col("status") == status))


def texts(axes):
    return [text.get_text() for text in axes.texts]


def test_window_best_point_and_golfers_of_the_band_are_drawn(golfers, bands, chart):
    axes = axes_of(golfers, bands, chart)

    window = next(patch for patch in axes.patches if isinstance(patch, Rectangle))
    assert window.get_bbox().bounds == (2100.0, 11.5, 800.0, 3.0)
    for status, label in (("clear", "not flagged"), ("flagged", "flagged")):
        inside = newest(golfers, status).filter(pl.col("club_speed_mph").is_between(85, 95))
        assert inside.height > 2
        assert marks(axes, label) == expected(inside, "spin_rpm", "launch_deg")
    best = next(text for text in axes.texts if text.get_text() == "best")
    assert best.xy == (2500.0, 13.0)
    assert axes.figure.get_suptitle() == "90 mph: farthest at 13.0 deg, 2,500 rpm"
    assert axes.get_title(loc="left") == "Golfers of 85 to 95 mph, hill-school, 2026 Q3"


def test_picture_is_zoomed_to_reach_window_and_golfers(golfers, bands, chart):
    axes = axes_of(golfers, bands, chart)

    here = golfers.filter((pl.col("quarter") == "2026Q3") & pl.col("club_speed_mph").is_between(85, 95))
    band = chart.map_of(90)
    shown = {
        "launch": [*here["launch_deg"], *band.reach_launch_deg[band.reachable.any(axis=1)], 11.5, 14.5],
        "spin": [*here["spin_rpm"], *band.reach_spin_rpm[band.reachable.any(axis=0)], 2100, 2900],
    }
    for limits, values, least in zip((axes.get_ylim(), axes.get_xlim()), shown.values(), LEAST_FRAME, strict=True):
        wide = max(max(values) - min(values), least)
        assert limits[0] <= min(values)
        assert limits[1] >= max(values)
        assert limits[1] - limits[0] == pytest.approx(wide * (1 + 2 * MARGIN))
    answered = chart.map_of(90).answered[0]
    assert np.ptp(axes.get_ylim()) < np.ptp(answered[:, 0])  # which reaches far beyond what golfers do


def test_shades_cover_the_last_fifteen_yards(golfers, bands, chart):
    # Carry falls straight with spin: 10 yd for every 500 rpm above 2,500, and rises below, outside golfers' reach.
    spin = chart.map_of(90).spin_rpm
    efficient = chart.map_of(90).efficient_carry_yd
    carry = np.tile(efficient - (spin - 2500) / 50, (37, 1))
    chart = with_map(chart, 2, expected_carry_yd=carry, reachable=FULL)

    axes = axes_of(golfers.clear(), bands, chart)

    seen = pixels_at(axes, [(1700, 9.0), (2520, 9.0), (2520 + 7 * 50, 9.0), (3275, 9.0), (3500, 9.0)])
    best, lowest = to_rgb(LIGHT.map_high), to_rgb(LIGHT.map_low)
    assert seen[0] == pytest.approx(best, abs=0.01)  # beyond the best: no shade of its own
    assert seen[1] == pytest.approx(best, abs=0.01)
    share = 1 - 7 / (MAP_REACH - 1)  # 7 to 8 yd less
    assert seen[2] == pytest.approx(np.array(lowest) + share * (np.array(best) - lowest), abs=0.012)
    assert seen[4] == pytest.approx(lowest, abs=0.01)


def test_shades_and_contours_end_at_the_frame(golfers, bands, chart):
    axes = axes_of(golfers, bands, chart)

    # svg cuts what is drawn at its own path alone, which would else reach over ticks and titles.
    drawn = [one for one in axes.collections if isinstance(one, QuadContourSet) and one.get_clip_path() is not None]
    assert [one.filled for one in drawn] == [True, False]
    for one in drawn:
        path, placed = one.get_clip_path().get_transformed_path_and_affine()
        seen = (placed - axes.transData).transform_path(path).get_extents()
        assert seen.x0 >= axes.get_xlim()[0] - 1e-6
        assert seen.x1 <= axes.get_xlim()[1] + 1e-6
        assert seen.y0 >= axes.get_ylim()[0] - 1e-9
        assert seen.y1 <= axes.get_ylim()[1] + 1e-9


def test_cut_off_at_the_frame_the_map_still_covers_where_the_lookup_answers():
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    rings = [np.column_stack([14 + 8 * np.sin(turn), at + 900 * np.cos(turn)]) for at in (2500, 3000, 5000)]
    band = SimpleNamespace(answered=rings)
    spin, launch = (part.ravel() for part in np.meshgrid(np.linspace(2010, 4990, 61), np.linspace(10.1, 17.9, 41)))
    places = np.column_stack([spin, launch])
    cut = band_map._within(band, band_map.Frame((10.0, 18.0), (2000.0, 5000.0)))
    inside = [any(ring.contains_point(place) for ring in band_map._rings(band)) for place in places]
    parts = [Path(part) for part in cut.to_polygons()]
    assert [any(part.contains_point(place) for part in parts) for place in places] == inside
    assert 0 < sum(inside) < len(inside)


def test_contours_say_how_much_less_they_stand_for(golfers, bands, chart):
    axes = axes_of(golfers, bands, chart)

    lines = next(drawn for drawn in axes.collections if isinstance(drawn, QuadContourSet) and not drawn.filled)
    assert lines.levels.tolist() == [5, 10, 15]
    band = chart.map_of(90)
    labels = [text for text in axes.texts if text.get_text().endswith("less")]
    assert len(labels) >= 2
    for text in labels:
        spin, launch = text.get_position()
        column, row = np.interp(spin, band.spin_rpm, range(37)), np.interp(launch, band.launch_deg, range(37))
        less = band.efficient_carry_yd - band.expected_carry_yd[round(row), round(column)]
        assert less == pytest.approx(float(text.get_text().split()[0]), abs=2.5)  # of the nearest point of the grid
        assert axes.get_xlim()[0] < spin < axes.get_xlim()[1]
        assert axes.get_ylim()[0] < launch < axes.get_ylim()[1]


def test_map_is_blank_where_the_lookup_refuses(golfers, bands, chart):
    chart = with_map(chart, 2, reachable=FULL)

    axes = axes_of(golfers.clear(), bands, chart)

    seen = pixels_at(axes, np.array([[2500, 9.1], [1300, 18], [4500, 13], [2500, 19.3], [2500, 18.7]]))
    blank = (np.abs(seen - 1) < 0.01).all(axis=1)
    assert blank.tolist() == [False, True, True, True, False]


def test_far_golfer_widens_the_picture(golfers, bands, chart):
    far = golfers.with_columns(
        spin_rpm=pl.when(pl.col("club_speed_mph").is_between(88, 92)).then(pl.lit(6100.0)).otherwise("spin_rpm")
    )

    axes = axes_of(Golfers.validate(far), bands, chart)

    assert axes.get_xlim()[1] > 6100


def test_golfer_of_guessed_spin_has_no_place(golfers, bands, chart):
    guessed = golfers.with_columns(spin_rpm=pl.lit(None, pl.Float64))

    axes = axes_of(Golfers.validate(guessed), bands, chart)

    assert (marks(axes, "flagged"), marks(axes, "not flagged")) == ([], [])


def test_band_without_a_window_says_so(golfers, bands, chart):
    axes = axes_of(golfers, bands, chart, 70)

    assert [patch for patch in axes.patches if isinstance(patch, Rectangle)] == []
    assert "No window at this speed." in texts(axes)


@pytest.mark.parametrize("whole_band_missing", [False, True])
def test_suppressed_band_without_answers_shows_nobody_and_says_why(golfers, bands, chart, whole_band_missing):
    if whole_band_missing:
        chart = replace(chart, bands=chart.bands[:4])

    figure = figure_of(golfers, bands, chart, 110)

    axes = figure.axes[0]
    assert list(axes.collections) == []
    assert "Too few drives at this speed for a map." in texts(axes)[0]
    assert "Golfers not drawn: fewer than 5" in texts(axes)[0]
    assert list(axes.get_xticks()) == []
    assert figure.get_suptitle() == "110 mph: too few drives to map"


def test_flat_map_draws_without_contours(golfers, bands, chart):
    flat = np.full((37, 37), chart.map_of(90).efficient_carry_yd)
    chart = with_map(chart, 2, expected_carry_yd=flat, reachable=FULL)

    axes = axes_of(golfers, bands, chart)

    assert [drawn.filled for drawn in axes.collections if isinstance(drawn, QuadContourSet)] == [True]
    assert texts(axes) == ["best"]


@pytest.mark.parametrize("theme", THEMES)
def test_picture_has_its_papers_colors(golfers, bands, chart, theme):
    scheme = THEMES[theme]

    figure = figure_of(golfers, bands, chart, scheme=scheme)

    axes = figure.axes[0]
    assert same_color(figure.get_facecolor(), scheme.paper)
    assert same_color(axes.xaxis.label.get_color(), scheme.ink)
    flagged = next(drawn for drawn in axes.collections if drawn.get_label() == "flagged")
    assert same_color(flagged.get_facecolor()[0], scheme.attention_mark)


def test_metric_study_reads_meters(golfers, bands, chart):
    band = chart.map_of(90)

    figure = figure_of(golfers, bands, chart, units=METRIC)

    assert figure.get_suptitle() == "145 km/h: farthest at 13.0 deg, 2,500 rpm"
    label = figure.axes[1].get_xlabel()
    assert label == f"Meters less than the best, {METRIC.distance_text(band.efficient_carry_yd)}"
    assert label.endswith("197 m")
    lines = next(drawn for drawn in figure.axes[0].collections if isinstance(drawn, QuadContourSet) and drawn.filled)
    # 15 m less lie farther out than 15 yd less.
    widest = np.ptp(np.concatenate([path.vertices[:, 0] for path in lines.get_paths()[:15]]))
    drawn = axes_of(golfers, bands, chart).collections
    yards = next(one for one in drawn if isinstance(one, QuadContourSet) and one.filled)
    assert widest > np.ptp(np.concatenate([path.vertices[:, 0] for path in yards.get_paths()[:15]]))


def test_nothing_is_cut_off_and_words_are_large_enough_for_a_phone(golfers, bands, chart):
    for scheme in (LIGHT, DARK):
        figure = figure_of(golfers, bands, chart, scheme=scheme)
        figure.draw_without_rendering()
        used = figure.get_tightbbox()
        assert min(used.x0, used.y0) >= 0
        assert used.x1 <= WIDTH_IN
        assert used.y1 <= HEIGHT_IN
        # 358 CSS pixels are as wide as a phone's page; 9.5 of them are as small as words may be in a picture.
        scale = 358 / (72 * WIDTH_IN)
        sizes = [text.get_fontsize() for text in figure.findobj(lambda one: hasattr(one, "get_fontsize"))]
        assert min(sizes) * scale > 9.5


def test_a_page_can_hold_two_pictures_of_every_band(golfers, bands, chart):
    assert len(figure_bytes(figure_of(golfers, bands, chart), "png")) < 50_000
