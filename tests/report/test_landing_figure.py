import numpy as np
import pytest
from matplotlib.patches import Ellipse
from rows import row_of

from pipeline.report.figures.landing import REACH, plot_landing
from pipeline.report.figures.look import figure_bytes
from pipeline.report.palette import DARK
from pipeline.shown import METRIC
from pipeline.tables.straightness import Straightness

YD_PER_M = 1 / 0.9144


def landing(**given):
    plain = {"offline_mean_yd": 6.0, "offline_mean_lo90_yd": 2.0, "offline_mean_hi90_yd": 10.0, "carry_yd": 220.0}
    plain |= {"long_axis_yd": 16.0, "short_axis_yd": 9.0, "axis_tilt_deg": 70.0, "corridor_yd": 30.0}
    return row_of(Straightness, **(plain | {"in_corridor_share": 0.62} | given))


def drawn(*args, **given):
    """Give the axes, the ellipse's outline, and lines and labels by name."""
    axes = plot_landing(landing(**given), *args).axes[0]
    [ellipse] = [patch for patch in axes.patches if isinstance(patch, Ellipse)]
    outline = ellipse.get_patch_transform().transform(ellipse.get_path().vertices)
    lines = {line.get_label(): line.get_xydata() for line in axes.lines}
    return axes, outline, lines, axes.get_legend_handles_labels()[1]


def test_the_ellipse_holds_nine_in_ten_drives_of_the_figures():
    rng = np.random.default_rng(1)
    turned = np.radians(70)
    long, short = np.array([np.sin(turned), np.cos(turned)]), np.array([np.cos(turned), -np.sin(turned)])
    drives = np.array([6, 220]) + rng.normal(0, 16, (20_000, 1)) * long + rng.normal(0, 9, (20_000, 1)) * short
    axes, _, _, _ = drawn()
    [ellipse] = [patch for patch in axes.patches if isinstance(patch, Ellipse)]
    inside = ellipse.get_patch_transform().inverted().transform(drives)
    assert np.mean(np.hypot(*inside.T) <= 1) == pytest.approx(0.90, abs=0.01)


def test_the_long_axis_leans_to_the_right_where_the_tilt_is_positive():
    _, outline, lines, _ = drawn(axis_tilt_deg=30.0)
    (left, low), (right, high) = lines["_long axis"]
    assert (right - left, high - low) == pytest.approx((32 * REACH * 0.5, 32 * REACH * np.cos(np.pi / 6)))
    # The short one stands across it, and the ends of both lie on the ellipse.
    short = np.diff(lines["_short axis"], axis=0)[0]
    assert short @ [right - left, high - low] == pytest.approx(0, abs=1e-9)
    assert np.hypot(*short) == pytest.approx(18 * REACH)
    assert np.hypot(*(outline - lines["_short axis"][1]).T).min() < 1.5
    assert np.hypot(*(outline - lines["_long axis"][1]).T).min() < 1.5


def test_a_mirrored_golfer_is_drawn_mirrored():
    _, _, here, labels = drawn()
    _, _, there, mirrored = drawn(
        offline_mean_yd=-6.0, offline_mean_lo90_yd=-10.0, offline_mean_hi90_yd=-2.0, axis_tilt_deg=-70.0
    )
    turned = here["_long axis"][::-1] * [-1, 1]
    assert there["_long axis"] == pytest.approx(turned) or there["_long axis"] == pytest.approx(turned[::-1])
    assert there["_interval"][:, 0].tolist() == [-10, -2]
    said = [next(label for label in each if label.startswith("mean")) for each in (labels, mirrored)]
    assert said == ["mean: 6 yd right, with 90 % interval", "mean: 6 yd left, with 90 % interval"]


def test_it_is_drawn_on_the_scale_of_the_hole_with_all_of_it_inside():
    axes, outline, _, labels = drawn()
    assert axes.get_aspect() == 1.0
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    assert left == -right < outline[:, 0].min()
    assert outline[:, 0].max() < right
    assert low < outline[:, 1].min()
    assert outline[:, 1].max() < high
    assert "62 % of drives in 30 yd" in labels


@pytest.mark.parametrize("tilt_deg", [5.0, 85.0])
def test_a_picture_is_neither_higher_than_wide_nor_flat(tilt_deg):
    axes, _, _, _ = drawn(axis_tilt_deg=tilt_deg, long_axis_yd=40.0, short_axis_yd=5.0)
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    assert 0.5 * (right - left) <= high - low + 1e-9 <= right - left + 1e-6
    width, height = axes.figure.get_size_inches()
    assert 3 < height < 7 > width


def test_a_study_in_meters_is_drawn_in_meters():
    axes, _, lines, labels = drawn(DARK, METRIC)
    assert lines["_interval"].tolist() == pytest.approx(np.array([[2, 220], [10, 220]]) / YD_PER_M)
    assert "mean: 5 m right, with 90 % interval" in labels
    assert axes.get_ylabel() == "carry, m"


def test_what_cannot_be_said_is_not_drawn():
    _, _, lines, labels = drawn(offline_mean_lo90_yd=None, offline_mean_hi90_yd=None, offline_mean_yd=0.2)
    assert "_interval" not in lines
    assert "mean: on the line" in labels
    with pytest.raises(ValueError, match="no landing ellipse"):
        plot_landing(landing(offline_mean_yd=None))


def test_the_same_row_gives_the_same_bytes():
    one, two = (figure_bytes(plot_landing(landing()), "png") for _ in range(2))
    assert one == two
