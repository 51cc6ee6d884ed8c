from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from frontiers import frontier_at, one_error, plain_model

from pipeline.flight.offsets import Offsets
from pipeline.golfers.shared_errors import Quarters, SharedErrors, exposure

SPEEDS = np.arange(70.0, 111.0)
FRONTIER = frontier_at(SPEEDS, std_error_yd=2.0, freedom=25.0)
# Four draws in which errors at 80 mph, at 100 mph and of the offset go apart.
PLACES = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]], dtype=float)


def shared(offset=0.01, golfers=6.0):
    slow, fast, share = PLACES.T
    efficient = np.where(SPEEDS <= 90, 2 * slow[:, None], 2 * fast[:, None])
    return SharedErrors.of(FRONTIER, efficient, 0.05 + offset * share[:, None], np.array([golfers]))


def quarters(speed, *offset_yd, uncompared_yd=0.0, moved_yd=0.0):
    speed = np.atleast_1d(np.asarray(speed, dtype=float))
    offsets = np.broadcast_to(np.array(offset_yd, dtype=float), (len(speed), len(offset_yd)))
    n = len(speed)
    return Quarters(speed, offsets, np.full(n, uncompared_yd), np.zeros((n, 0, 4)), np.full(n, moved_yd))


def test_a_figure_has_efficient_carrys_error_and_that_of_its_offset():
    variance, freedom = shared().of_figure(quarters([80.0, 100.0], 200.0))
    assert variance == pytest.approx([4.0 + 4.0] * 2)  # 2 yd, and 1 % of 200 yd
    assert freedom == pytest.approx([64 / (16 / 25 + 16 / 5)] * 2)  # six golfers on the device leave five


def test_without_drives_on_it_an_offset_adds_nothing():
    variance, freedom = shared().of_figure(quarters(80.0, 0.0))
    assert (variance[0], freedom[0]) == pytest.approx((4.0, 25.0))


def test_errors_that_go_together_add_up_and_those_that_go_against_each_other_cancel():
    slow = PLACES[:, :1]
    together, against = (
        SharedErrors.of(FRONTIER, np.repeat(2 * slow, len(SPEEDS), axis=1), sign * 0.01 * slow).of_figure(
            quarters(80.0, 200.0)
        )[0]
        for sign in (1, -1)
    )
    assert (together[0], against[0]) == pytest.approx((16.0, 0.0))


def test_at_one_speed_on_one_device_a_change_has_no_shared_error():
    variance, _ = shared().of_change(quarters(80.0, 200.0), quarters(80.0, 200.0))
    assert variance == pytest.approx([0.0])


def test_another_device_brings_its_offsets_error_into_the_change():
    now, then = quarters(80.0, 200.0), quarters(80.0, 0.0)
    assert shared().of_change(now, then)[0] == pytest.approx([4.0])
    variance, freedom = shared().of_carry_change(now, then)
    assert (variance[0], freedom[0]) == pytest.approx((4.0, 5.0))


def test_speeds_whose_errors_go_apart_bring_both_into_the_change():
    variance, freedom = shared().of_change(quarters(100.0, 200.0), quarters(80.0, 200.0))
    assert (variance[0], freedom[0]) == pytest.approx((8.0, 25.0))
    assert shared().of_carry_change(quarters(100.0, 200.0), quarters(80.0, 200.0))[0] == pytest.approx([0.0])


def test_between_the_grids_speeds_errors_are_on_a_line():
    variance, _ = shared().of_figure(quarters(90.5, 0.0))
    assert variance == pytest.approx([2.0])  # the mean of two independent errors of 2 yd


def test_an_offset_of_many_golfers_is_known_well():
    few, many = (shared(golfers=golfers).of_figure(quarters(80.0, 200.0))[1][0] for golfers in (2.0, 1000.0))
    assert few == pytest.approx(64 / (16 / 25 + 16))
    assert many == pytest.approx(64 / (16 / 25 + 16 / 999))


def test_out_of_reach_nothing_is_known():
    variance, freedom = shared().of_figure(quarters([60.0, 80.0], 0.0))
    assert np.isnan(variance).tolist() == np.isnan(freedom).tolist() == [True, False]


def test_standard_errors_alone_cancel_at_any_speed():
    alone = one_error(FRONTIER)
    assert alone.of_figure(quarters(80.0))[0] == pytest.approx([4.0])
    assert alone.of_change(quarters(100.0), quarters(80.0))[0] == pytest.approx([0.0])


def test_a_device_that_nobody_could_compare_widens_a_figure_and_cancels_where_it_stayed():
    new, known = quarters(80.0, 0.0, uncompared_yd=8.0), quarters(80.0, 0.0)
    variance, freedom = shared().of_figure(new)
    assert (variance[0], freedom[0]) == pytest.approx((68.0, 68**2 / (16 / 25)))
    assert shared().of_change(new, known)[0] == pytest.approx([64.0])
    assert shared().of_carry_change(new, known)[0] == pytest.approx([64.0])
    assert shared().of_change(new, new)[0] == pytest.approx([0.0])


def test_quarters_are_taken_from_the_columns_of_the_levels():
    columns = {
        "club_speed_mph": [90.0],
        "device:unit-B": [120.0],
        "ball:range": [30.0],
        "uncompared_variance": [9.0],
        "moved_yd": [-2.0],
    }
    table = pl.DataFrame(columns | {f"{name}_before": [2 * value[0]] for name, value in columns.items()})
    errors = SharedErrors.of(FRONTIER, PLACES[:, :1] + 0 * SPEEDS, PLACES[:, :2], None, ("device:unit-B", "ball:range"))
    now, then = errors.quarters(table), errors.quarters(table, "_before")
    assert now.offset_yd.tolist() == [[120.0, 30.0]]
    assert (now.uncompared_yd[0], then.uncompared_yd[0]) == pytest.approx((3.0, np.sqrt(18)))
    assert (now.moved_yd[0], then.moved_yd[0]) == (-2.0, -4.0)
    assert (then.club_speed_mph[0], then.offset_yd[0, 1]) == (180.0, 60.0)


def test_no_golfers_and_no_benchmarks():
    none = shared().of_figure(Quarters(np.zeros(0), np.zeros((0, 1)), np.zeros(0), np.zeros((0, 0, 4)), np.zeros(0)))
    assert [len(part) for part in none] == [0, 0]
    bare = SharedErrors.of(frontier_at([], 0.0), np.zeros((4, 0)))
    assert np.isnan(bare.of_figure(quarters(80.0))[0]).all()
    single = SharedErrors.of(replace(frontier_at([80.0], std_error_yd=2.0)), 2 * PLACES[:, :1])
    assert single.of_figure(quarters(80.0))[0] == pytest.approx([4.0])


def test_exposure_is_carry_of_the_drives_on_each_level_over_all_drives():
    # A share of 4 % on unit-B: 208 yd there are 200 yd on the reference.
    offsets = Offsets({"device": "unit-A", "ball": "premium"}, (("device", "unit-B"),))
    model = replace(plain_model(), offsets=offsets, offset_share=np.array([0.04]))
    drives = pl.DataFrame(
        {
            "golfer": "g1",
            "quarter": "2026Q3",
            "device": ["unit-A", "unit-B", "unit-B", "unit-C"],
            "ball": "premium",
            "carry_standard_yd": [210.0, 208.0, 208.0, 240.0],
        }
    )
    row = exposure(drives, model).row(0, named=True)
    assert row["device:unit-B"] == pytest.approx(2 * 200 / 1.04 / 4)
    # Mean reference carry really falls by that much a share, and by what unit-C may be off for its one drive in four.
    moved = replace(model, offset_share=np.array([0.041])).reference_carry(drives).mean()
    assert (model.reference_carry(drives).mean() - moved) / 0.001 == pytest.approx(row["device:unit-B"], rel=2e-3)
    assert row["uncompared_variance"] == pytest.approx((0.035 * 240 / 4) ** 2)


def test_a_move_to_standard_air_widens_a_figure_and_cancels_in_one_air():
    errors = replace(shared(), frontier=replace(FRONTIER, moved_share=0.25))
    high, low = quarters(80.0, 0.0, moved_yd=-8.0), quarters(80.0, 0.0, moved_yd=4.0)
    variance, freedom = errors.of_figure(high)
    assert (variance[0], freedom[0]) == pytest.approx((4.0 + 4.0, 8**2 / (16 / 25)))
    for change in (errors.of_change, errors.of_carry_change):
        assert change(high, low)[0] == pytest.approx([9.0])
        assert change(high, high)[0] == pytest.approx([0.0])
    assert shared().of_figure(high)[0] == pytest.approx([4.0])
