"""The computing parts of what was considered, on small data whose answer is known."""

from dataclasses import replace

import considered
import considered_case as case_of
import considered_measures as weighed
import numpy as np
import polars as pl
import pytest
from worlds import PLAIN

from pipeline.fit.model import CarryModel
from pipeline.fit.surface import line
from pipeline.fit.usual_delivery import Line, UsualDelivery
from pipeline.flight.offsets import count_levels, offsets_from

NEAR = replace(PLAIN, golfers=60, shots=(12, 12), faulty=0.5, spin_noise=0.15, device_b_share=-0.2, scatter=0.008)


@pytest.fixture(scope="module")
def case():
    return case_of.make_case(NEAR, "plain", 5)


def figures(rows):
    return {row["figure"]: row for row in rows}


def bent_drives(share=0.1, yards=0.0, drives=400):
    rng = np.random.default_rng(1)
    speed, launch, spin = rng.uniform(110, 160, drives), rng.uniform(8, 18, drives), rng.uniform(2000, 3500, drives)
    on_b = np.arange(drives) % 3 == 0
    flown = 1.7 * speed + 2.0 * launch - 0.01 * spin
    carry = flown * (1 + share * on_b) + yards * on_b
    return pl.DataFrame(
        {
            "golfer": [f"g{i % 20:02d}" for i in range(drives)],
            "device": np.where(on_b, "unit-B", "unit-A"),
            "ball": "premium",
            "ball_speed_mph": speed,
            "launch_deg": launch,
            "spin_rpm": spin,
            "carry_standard_yd": carry,
            "flown_yd": flown,
        }
    )


def bare_model(drives):
    surface = line([drives[c].to_numpy() for c in ("ball_speed_mph", "launch_deg", "spin_rpm")], "ball")
    flat = Line(90.0, 1.0, 0.0)
    offsets = offsets_from(count_levels(drives))
    start = CarryModel(surface, np.zeros(4), offsets, np.zeros(1), UsualDelivery(None, None, flat, flat), {})
    X, y = case_of.problem(start, drives)
    return case_of.with_coefficients(start, np.linalg.lstsq(X, y)[0])


def test_the_gain_is_how_much_nearer_to_its_target_a_mean_lies():
    in_use, alternative = np.array([1.0, 2.0, 4.5]), np.array([-1.0, 0.5, -1.0])
    gain, error = considered.gain_of(in_use, alternative, np.zeros(3))
    assert gain == pytest.approx(2.5 - 0.5)
    # Each mean keeps its sign whichever academy is left out, so the jackknife is the plain standard error.
    assert error == pytest.approx(np.std(in_use + alternative, ddof=1) / np.sqrt(3))
    assert considered.gain_of(np.array([0.95]), np.array([0.88]), np.array([0.9])) == (pytest.approx(0.03), None)


@pytest.mark.parametrize(
    ("gain", "error", "academies", "told"),
    [
        (0.5, 0.1, 15, "alternative nearer by 0.5 (std. error 0.1)"),
        (-0.5, 0.1, 15, "in use nearer by 0.5 (std. error 0.1)"),
        (0.3, 0.1, 15, "alternative nearer by 0.3 (std. error 0.1)"),
        (0.3, 0.1, 3, "not told apart (+0.3, std. error 0.1)"),
        (-0.3, None, 1, "in use nearer by 0.3, one academy"),
        (None, None, 2, ""),
    ],
)
def test_what_came_out_follows_the_figures(gain, error, academies, told):
    assert considered.outcome(gain, error, academies) == told


def found_by(in_use, alternative):
    rows = [
        {"world": world, "academy": k, "method": m.title, "figure": f, "in_use": a, "alternative": b, "target": 0.0}
        for world in ("one", "two")
        for k, (a, b) in enumerate(zip(in_use, alternative, strict=True))
        for m in considered.METHODS
        for f in m.decides
    ]
    return pl.DataFrame(rows)


def test_the_text_turns_when_the_figures_do():
    better, worse = [1.0, 1.1, 0.9], [2.0, 2.1, 1.95]
    lines = sum(len(m.decides) for m in considered.METHODS)
    text = considered.considered_text(considered.sum_up(found_by(worse, better)))
    turned = considered.considered_text(considered.sum_up(found_by(better, worse)))
    assert text.count("| alternative nearer by 1.02 ") == turned.count("| in use nearer by 1.02 ") == 2 * lines
    assert "in use nearer" not in text
    assert "alternative nearer" not in turned


def test_academies_without_one_of_the_two_are_left_out_for_both():
    summed = considered.sum_up(
        pl.DataFrame(
            {
                "world": ["one", "one", "two", "two"],
                "method": "m",
                "figure": ["bias", "gap"] * 2,
                "in_use": [3.0, None, 9.0, None],
                "alternative": [1.0, 4.0, None, 6.0],
                "target": [0.0, None, 0.0, None],
            }
        )
    )
    bias, gap = summed.filter(pl.col("worlds") == "all").to_dicts()
    assert (bias["academies"], bias["in_use"], bias["alternative"], bias["gain"]) == (1, 3.0, 1.0, 2.0)
    assert (gap["academies"], gap["in_use"], gap["alternative"], gap["outcome"]) == (2, None, 5.0, "")


def test_random_intercepts_are_found_with_their_spread():
    rng = np.random.default_rng(2)
    golfer = np.repeat(np.arange(60), 12)
    X = np.column_stack([np.ones(720), 100 * rng.standard_normal(720)])
    own = 3.0 * rng.standard_normal(60)
    y = X @ [200.0, 0.05] + (own - own.mean())[golfer] + rng.standard_normal(720)
    coefficients, sd = weighed.fit_mixed(X, y, golfer)
    assert coefficients == pytest.approx([200.0, 0.05], rel=0.02)
    # The between variance of one-way analysis, which restricted likelihood equals for balanced data.
    means = np.array([(y - X @ coefficients)[golfer == k].mean() for k in range(60)])
    assert sd == pytest.approx(np.sqrt(means.var(ddof=1) - 1 / 12), rel=0.01)


def test_a_devices_share_or_yards_are_found_exactly():
    true = pytest.approx([1.7 * 140 + 2 * 12 - 25], abs=1e-6)
    short = bare_model(bent_drives(share=0.1))
    assert short.offset_share == pytest.approx([0.1], abs=1e-9)
    assert short.carry([140.0], [12.0], [2500.0]) == true
    drives = bent_drives(share=0.0, yards=8.0)
    found, yards = weighed.fit_constant(bare_model(drives), drives)
    assert yards == pytest.approx([8.0], abs=1e-9)
    assert found.carry([140.0], [12.0], [2500.0]) == true


def test_slopes_are_per_mph_deg_and_100_rpm():
    found = weighed.slopes(lambda v, l, s: 2 * v + l**2 - 0.01 * s, *(np.array([x]) for x in (140.0, 12.0, 2500.0)))
    assert [float(x[0]) for x in found.values()] == pytest.approx([2.0, 24.0, -1.0])


def test_conformal_edges_are_the_right_ranks_of_one_drive_a_golfer():
    rng = np.random.default_rng(3)
    golfer = np.repeat(np.arange(39), np.arange(1, 40))
    edges = weighed.conformal_edges(golfer.astype(float), golfer, rng)
    # Of 39 golfers: the second and the 38th of the values 0 to 38.
    assert edges == (1.0, 37.0)
    with pytest.raises(ValueError, match="18 golfers are too few"):
        weighed.conformal_edges(np.arange(18.0), np.arange(18), rng)


def test_a_golfer_with_many_drives_weighs_as_much_as_one_with_few():
    golfer = np.concatenate([np.arange(20), np.full(380, 19)])
    departure = golfer / 20.0
    assert weighed.equal_edges(departure, golfer) == pytest.approx((0.0, 0.9))
    assert np.quantile(departure, 0.05) == 0.95


def test_percentiles_are_judged_where_they_are_published_and_another_way_that_is_right_has_no_error(case):
    people = case_of.people_of(case.academy.world)

    def right(_model, _golfers, bands_mph):
        return np.array([weighed.crowd_percentiles(people, "plain", v) * case.scale for v in bands_mph.tolist()])

    def far(*given):
        return right(*given) + 100

    found, off = (figures(weighed.percentiles(case, way)) for way in (right, far))
    error = found["all percentiles: rms error, yd"]
    assert error["alternative"] == 0
    assert 0 < error["in_use"] < 15
    assert off["percentile 50: bias, yd"]["alternative"] == pytest.approx(100)
    assert off["percentile 50: bias, yd"]["in_use"] == found["percentile 50: bias, yd"]["in_use"]
    assert found["90 % intervals that hold, 12 golfers on"]["target"] == 0.9


def test_the_crowd_has_its_percentiles_in_order_and_far_below_for_the_faulty():
    sound = weighed.crowd_percentiles(replace(PLAIN, faulty=0.0), "plain", 90.0)
    mixed = weighed.crowd_percentiles(PLAIN, "plain", 90.0)
    assert (np.diff(sound) > 0).all()
    # 30 % of faulty golfers move the lowest quarter most.
    assert sound[0] - mixed[0] > 3 * (sound[3] - mixed[3]) > 0


def test_the_truths_scale_is_that_of_the_readings(case):
    measured, true = (
        case.drives["carry_standard_yd"].to_numpy(),
        case.true_carry_yd / case.scale * case_of.own_scale(case),
    )
    share = measured / true - 1
    assert np.abs(share.mean()) < 0.001
    assert share.std() == pytest.approx(np.hypot(0.008, 0.003), rel=0.1)


def test_a_device_far_off_is_met_better_by_a_share(case):
    found = figures(weighed.devices(case))[weighed.SECOND_DEVICE]
    assert found["in_use"] < 0.9 * found["alternative"]


def test_noisy_spin_flattens_its_slope(case):
    found = figures(weighed.attenuation(case))
    spin = found["slope with spin, yd per 100 rpm: rms error"]
    assert spin["alternative"] < 0.8 * spin["in_use"]
    error = found["expected carry of drives: rms error, yd"]
    assert error["in_use"] < error["alternative"]


def test_weights_shift_the_fit_by_the_given_power(case):
    weighted, power = weighed.fit_weighted(case, 2.0)
    X, y = case_of.problem(case.model, case.drives)
    left = y - X @ np.concatenate([weighted.coefficients, weighted.offset_share])
    expected = case.model.carry(*(case.drives[c].to_numpy() for c in ("ball_speed_mph", "launch_deg", "spin_rpm")))
    # Normal equations of weights 1 / carry^2.
    moments = X.T @ (left / expected**2) / (np.abs(X).T @ np.abs(left / expected**2))
    assert power == 2.0
    np.testing.assert_allclose(moments, 0, atol=1e-8)


def test_golfers_means_are_those_of_their_drives():
    drives = pl.DataFrame({"golfer": ["b", "a", "b", "b"], "quarter": ["2", "1", "1", "2"], "carry_yd": [1.0, 2, 3, 5]})
    found = weighed.golfer_means(drives, ("carry_yd",))
    assert found.rows() == [("a", "1", 1, 2.0), ("b", "1", 1, 3.0), ("b", "2", 2, 3.0)]


def test_means_take_mishits_for_contact(case):
    found = figures(weighed.mishits(case))
    assert found["contact: bias, yd"]["alternative"] > found["contact: bias, yd"]["in_use"] + 3
    assert found["consistency: bias, yd"]["alternative"] < found["consistency: bias, yd"]["in_use"] - 3


@pytest.mark.parametrize("method", considered.METHODS, ids=lambda method: method.title)
def test_every_method_gives_the_figures_that_decide(case, method):
    found = figures(method.measure(case))
    for figure in method.decides:
        values = [found[figure][name] for name in ("in_use", "alternative", "target")]
        assert all(value is not None and np.isfinite(value) for value in values)
