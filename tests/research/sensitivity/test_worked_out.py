"""One scenario worked out on a tiny study, beside what the workflow's own functions make of the same drives."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to
from sensitivity_samples import KEPT, drives_of, study_of

from pipeline.drives import Drives
from pipeline.errors import UserError
from pipeline.flight.calibrate import Calibration
from pipeline.golfers.losses import losses
from pipeline.research.sensitivity.scenarios import THE_BASE, Scenario
from pipeline.research.sensitivity.worked_out import JUDGED, work_out

CENTRES = np.array([80.0, 90.0, 100.0])


@pytest.fixture(scope="module")
def asked(study):
    return study[0]


@pytest.fixture(scope="module")
def base(asked):
    return work_out(asked, THE_BASE)


def area(window):
    return (window.launch_hi_deg - window.launch_lo_deg) * (window.spin_hi_rpm - window.spin_lo_rpm)


def carry(found):
    return found.frontier.at("carry_yd", CENTRES)


def test_base_is_the_study_itself(asked, base):
    for name in ("carry_yd", "launch_deg", "spin_rpm"):
        np.testing.assert_allclose(getattr(base.frontier, name), getattr(asked.frontier, name), rtol=1e-9)
    assert base.windows == {centre: asked.frontier.window_at(centre) for centre in CENTRES}
    drives = next(asked.drives.read())
    assert (base.drives, base.golfers) == (drives.height, drives.get_column("golfer").n_unique())
    newest = losses(drives.filter(pl.col("quarter") == "2026Q3"), asked.model, asked.frontier)
    assert base.lost.get_column("golfer").to_list() == newest.get_column("golfer").to_list()
    np.testing.assert_allclose(base.lost.select(JUDGED), newest.select(JUDGED), rtol=1e-9, atol=1e-9)


def test_drives_left_out_are_in_neither_fit_nor_judgement(asked, base):
    kept = pl.col("device") != "unit-B"
    left = next(asked.drives.read()).filter(~kept)
    found = work_out(asked, Scenario("", "device", fitted=kept, judged=kept))
    assert found.drives == base.drives - left.height
    assert set(base.lost["golfer"]) - set(found.lost["golfer"]) == set(left["golfer"])


def test_a_quarter_left_out_of_the_fit_is_judged_by_it_all_the_same(asked, base):
    found = work_out(asked, Scenario("", "quarter", fitted=pl.col("quarter") != "2026Q3"))
    assert found.drives == base.drives // 2
    assert found.lost["golfer"].to_list() == base.lost["golfer"].to_list()


def test_more_deliveries_reach_farther(asked):
    shares = [
        carry(work_out(asked, Scenario("", "deliveries", "definition", deliveries=share))) for share in (0.6, 0.7, 0.9)
    ]
    assert np.all(np.diff(shares, axis=0) >= 0)
    assert np.any(shares[-1] > shares[0] + 0.01)


def test_a_better_strike_carries_farther_by_the_ratio_it_has(asked, base):
    found = work_out(asked, Scenario("", "strike", "definition", strike=0.9))
    assert np.all(carry(found) > carry(base) + 0.5)
    assert base.frontier.at("spin_rpm", CENTRES).tolist() == pytest.approx(
        found.frontier.at("spin_rpm", CENTRES).tolist(), abs=150
    )


def test_another_reference_device_moves_nothing_by_its_share(world_maker, roller):
    # unit-A, the reference, reads 5 % short of the others; carry stays that of unit-A without it too.
    short = pl.when(pl.col("device") == "unit-A").then(0.95).otherwise(1.0)
    asked = study_of(drives_of(world_maker).with_columns(pl.col("carry_standard_yd") * short), roller)[0]
    base, kept = work_out(asked, THE_BASE), pl.col("device") != "unit-A"
    found = work_out(asked, Scenario("", "device", fitted=kept, judged=kept))
    np.testing.assert_allclose(carry(found), carry(base), atol=0.4)
    assert found.note == "carry of device unit-B reads 5.3 % longer and is brought to the study's reference"
    both = found.lost.join(base.lost, on="golfer", suffix="_base")
    assert both.height == found.lost.height
    assert np.polyfit(both["lost_yd_base"], both["lost_yd"], 1) == pytest.approx([1.0, 0.0], abs=0.02)


def test_a_candidate_is_fitted_as_in_the_contest(asked, base):
    found = work_out(asked, Scenario("", "candidate", candidate="line"))
    fitted = fit_to(candidate_named("line"), next(asked.drives.read())).model
    at = fitted.better_on_grid(90.0, found.frontier.at("launch_deg", [90.0]), found.frontier.at("spin_rpm", [90.0]))
    assert found.frontier.at("carry_yd", 90.0) == pytest.approx(at.item(), rel=1e-6)
    assert abs(at.item() - carry(base)[1]) > 0.2


def test_another_flight_moves_drives_in_thin_air_alone(asked, base):
    other = Calibration("lyu-2018", 1.0, 1.0, None, None, [], 0, 0, None, None, "")
    still = work_out(asked, Scenario("", "flight", calibration=other))
    np.testing.assert_allclose(carry(still), carry(base), atol=0.3)
    high = asked.drives.mapped(lambda frame: frame.with_columns(pressure_hpa=pl.lit(850.0)))
    moved = work_out(replace(asked, drives=high), Scenario("", "flight", calibration=KEPT))
    assert np.all(carry(moved) < carry(base) - 2)


def test_windows_shrink_by_the_published_doubt(asked, base):
    reach = asked.frontier.reach
    unsure = replace(asked.frontier, reach=replace(reach, doubt_yd=reach.doubt_yd + 2.5))
    found = work_out(replace(asked, frontier=unsure), THE_BASE)
    for centre in CENTRES:
        assert area(found.windows[centre]) < 0.9 * area(base.windows[centre])
    assert carry(found).tolist() == carry(base).tolist()


def test_golfers_with_too_few_drives_show_no_delivery(asked):
    found = work_out(asked, Scenario("", "least drives", min_shots=17))
    assert np.isnan(carry(found)).all()
    assert found.windows == {}
    assert found.lost["lost_yd"].null_count() == found.lost.height


def test_too_few_drives_are_told(asked):
    few = pl.col("golfer") == next(asked.drives.read())["golfer"][0]
    with pytest.raises(UserError, match="too few drives or golfers are left for a fit"):
        work_out(asked, Scenario("", "device", fitted=few, judged=few))


def test_whoever_reads_in_pieces_gets_the_same(asked, base):
    whole = next(asked.drives.read())
    half = whole["golfer"].unique().sort()[: whole["golfer"].n_unique() // 2]
    parts = [
        whole.filter(pl.col("golfer").is_in(half.implode())),
        whole.filter(~pl.col("golfer").is_in(half.implode())),
    ]
    found = work_out(replace(asked, drives=Drives(lambda: iter(parts))), THE_BASE)
    np.testing.assert_allclose(carry(found), carry(base), rtol=1e-9)
