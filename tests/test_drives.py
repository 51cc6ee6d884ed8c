from datetime import date
from hashlib import sha256

import numpy as np
import polars as pl
import pytest
from pieces_held import Pieces

from pipeline.drives import (
    Drives,
    golfer_codes,
    keyless_order,
    speed_of_study,
    straightened,
    typical_drives,
    usable,
    with_spin_unguessed,
)


def drives(**columns):
    n = len(next(iter(columns.values())))
    base = {
        "golfer": ["ga"] * n,
        "quarter": ["2026Q1"] * n,
        "club_speed_mph": [100.0] * n,
        "ball_speed_mph": [146.0] * n,
        "launch_deg": [13.0] * n,
        "spin_rpm": [2500.0] * n,
        "spin_measured": [True] * n,
    }
    schema = {"ball_speed_mph": pl.Float64, "spin_measured": pl.Boolean}
    return pl.DataFrame(base | columns, schema_overrides=schema)


def test_typical_drive_is_not_moved_by_a_mishit():
    table = drives(ball_speed_mph=[146.0, 147.0, 145.0, 147.0, 110.0], launch_deg=[12.0, 13.0, 14.0, 13.0, 30.0])
    row = typical_drives(table, ["golfer"]).row(0, named=True)
    assert row["speed_ratio"] == pytest.approx(1.4625)
    assert row["launch_deg"] == 13.0
    assert row["shots"] == 5


def test_club_speed_is_the_mean():
    row = typical_drives(drives(club_speed_mph=[90.0, 91.0, 98.0]), ["golfer"]).row(0, named=True)
    assert row["club_speed_mph"] == pytest.approx(93.0)


@pytest.mark.parametrize(("known", "ratio"), [(2, 1.46), (1, None)])
def test_ratio_is_known_from_half_the_drives_on(known, ratio):
    table = drives(ball_speed_mph=[146.0] * known + [None] * (4 - known))
    row = typical_drives(table, ["golfer"]).row(0, named=True)
    assert row["speed_ratio"] == (pytest.approx(ratio) if ratio else None)


@pytest.mark.parametrize(
    ("spins", "measured", "typical"),
    [
        ([2000.0, 3000.0], [True, None], 2500.0),  # all are measured, as far as is known
        ([2000.0, 2400.0, 2500.0, 2600.0, 3000.0, 9000.0], [True, None, True, True, True, False], 2500.0),
        ([2000.0, 2400.0, 2500.0, 2600.0, 9000.0], [True, True, True, True, False], None),  # too few
        ([3000.0, 3200.0], [False, False], None),
    ],
)
def test_guessed_spin_is_never_a_golfers_spin(spins, measured, typical):
    table = drives(spin_rpm=spins, spin_measured=measured)
    assert typical_drives(table, ["golfer"]).item(0, "spin_rpm") == typical
    known = with_spin_unguessed(table).get_column("spin_rpm").to_list()
    assert known == [typical if mark is False else spin for spin, mark in zip(spins, measured, strict=True)]


def test_usable_drives_have_measured_spin_and_the_speed():
    table = drives(ball_speed_mph=[146.0, None, 146.0, 146.0], spin_measured=[True, True, False, None])
    assert usable(table, "ball").tolist() == [True, False, False, True]
    assert usable(table, "club").tolist() == [True, True, False, True]


def test_a_study_without_ball_speed_is_fitted_on_club_speed(world):
    assert speed_of_study(world.drives) == "ball"
    assert speed_of_study(world.drives.with_columns(ball_speed_mph=pl.lit(None, pl.Float64))) == "club"
    few = world.golfers.get_column("golfer")[:7].implode()
    known = pl.when(pl.col("golfer").is_in(few)).then("ball_speed_mph")
    assert speed_of_study(world.drives.with_columns(known.alias("ball_speed_mph"))) == "club"


def test_golfers_are_numbered_by_name():
    assert golfer_codes(pl.DataFrame({"golfer": ["gc", "ga", "gc", "gb"]})).tolist() == [2, 0, 2, 1]


SWUNG = pl.DataFrame(
    {
        "golfer": [name for name in "abcdef" for _ in range(3)],
        "struck_on": [date(2026, 1 + (5 * k) % 7, 1) for k in range(18)],
        "club_speed_mph": [90.0 + k for k in range(18)],
    }
)


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("rows", [1, 4, 18])
def test_golfers_stand_in_one_order_whatever_their_names_and_in_whatever_rows_they_come(seed, rows):
    other = dict(zip("abcdef", "pdxbaz", strict=True))
    shuffled = SWUNG.sample(fraction=1, shuffle=True, seed=seed).with_columns(pl.col("golfer").replace(other))
    expected = [other[name] for name in keyless_order([SWUNG])]
    assert keyless_order(shuffled.iter_slices(rows)).to_list() == expected
    assert sorted(expected) == sorted(other.values()) != expected


def test_a_golfer_stands_by_the_digest_of_the_first_row():
    firsts = SWUNG.sort("struck_on").unique("golfer", keep="first", maintain_order=True)
    texts = {name: f"{day}|{speed}" for name, day, speed in firsts.iter_rows()}
    assert keyless_order([SWUNG]).to_list() == sorted(texts, key=lambda name: sha256(texts[name].encode()).hexdigest())


def test_later_drives_move_nobody():
    later = SWUNG.with_columns(pl.lit(date(2026, 9, 9)).alias("struck_on"), pl.col("club_speed_mph") - 20)
    assert keyless_order([later, SWUNG]).to_list() == keyless_order([SWUNG]).to_list()


def test_golfers_whose_first_rows_are_the_same_stay_as_they_come():
    alike = SWUNG.with_columns(struck_on=date(2026, 1, 1), club_speed_mph=90.0)
    assert keyless_order([alike.reverse()]).to_list() == list("fedcba")


def test_without_drives_there_is_no_golfer_to_put_in_order():
    assert keyless_order([]).to_list() == []


def test_straightened_drives_carry_what_their_curve_took_and_no_more_than_once():
    drives = pl.DataFrame({"carry_standard_yd": [200.1, 210.2, 220.3], "curve_yd": [6.5, None, 0.0]})
    straight = straightened(drives)
    assert straight.to_dict(as_series=False) == {"carry_standard_yd": [206.6, 210.2, 220.3]}
    assert straightened(straight).equals(straight)


def test_drives_whose_curve_nobody_knows_keep_their_carry_to_the_last_bit():
    carry = pl.DataFrame({"carry_standard_yd": np.random.default_rng(1).normal(220, 20, 50)})
    unknown = carry.with_columns(curve_yd=pl.lit(None))
    assert straightened(unknown).equals(carry)


@pytest.mark.parametrize(("most", "readings"), [(4, 1), (3, 4)])
def test_few_drives_are_read_once_and_many_anew_each_time(most, readings):
    frames, begun = [drives(club_speed_mph=[90.0, 91.0]), drives(club_speed_mph=[70.0, 71.0])], []

    def read():
        begun.append(1)
        return iter(frames)

    kept = Drives(read).kept(most)
    for _ in range(3):
        assert [frame.to_dicts() for frame in kept.read()] == [frame.to_dicts() for frame in frames]
    assert len(begun) == readings


def test_golfers_are_put_in_order_while_no_piece_stays_in_memory():
    count = 20_000
    golfer = [f"golfer-of-a-long-name-{number % 500}" for number in range(count)]
    speed = np.linspace(90, 110, count)
    read = Pieces(pl.DataFrame({"golfer": golfer, "struck_on": date(2026, 1, 1), "club_speed_mph": speed}), 10)
    assert len(keyless_order(read())) == 500
    assert read.most < 2  # without copies of the texts it is 11
