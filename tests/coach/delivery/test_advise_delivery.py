"""The step on a small study: who is told what, and why the others aren't."""

from datetime import date

import numpy as np
import polars as pl
import pytest
from delivery_samples import BY_ATTACK, carry, frontier, model, swings, usual
from direction_samples import directed_swings
from polars.testing import assert_frame_equal
from rows import table_of

from pipeline.coach.delivery import advise_delivery as step
from pipeline.coach.delivery.advice import OUTSIDE, TOO_LOW, TOP_OUTSIDE, UNREAD, UNSPUN, UNSTRUCK, UNTOLD, advise
from pipeline.coach.delivery.loft_change import ATTACK_CHANGE_DEG
from pipeline.coach.delivery.slopes import fit_delivery
from pipeline.coach.delivery.sums import Sums, cell_sums
from pipeline.edge.artefacts import write_artefact
from pipeline.edge.files import write_csv
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.tables.delivery import Delivery, DeliverySlopes
from pipeline.tables.golfers import Golfers
from pipeline.tables.logs import DriveTable
from pipeline.tables.types import types_of


def golfers_of(drives):
    """Give the columns of golfers.csv that the step takes."""
    return (
        drives.group_by("golfer", "quarter")
        .agg(
            pl.len().cast(pl.Int64).alias("shots"),
            pl.col("club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm").median(),
        )
        .sort("golfer")
    )


def told(drives, golfers=None, speed="ball", **reach):
    cells = cell_sums(drives, usual(drives))
    golfers = golfers_of(drives) if golfers is None else golfers
    return Delivery.validate(advise(golfers, cells, carry(speed, **reach), fit_delivery(Sums.of(cells)), 12))


def near():
    """Golfers whose launch lies where the model's drives are."""
    return swings(golfers=12, drives=30).with_columns(launch_deg=pl.col("launch_deg").clip(8, 20))


def test_golfers_who_launch_low_are_told_more_loft_and_high_ones_less():
    drives = swings(golfers=12, drives=60)
    part = pl.col("golfer").rank("dense") % 3
    drives = drives.with_columns(
        launch_deg=pl.col("launch_deg") - pl.col("launch_deg").mean().over("golfer") + 6.0 + 5.0 * part
    ).with_columns(attack_deg=pl.col("attack_deg") - pl.col("attack_deg").mean().over("golfer"))

    # More loft costs ball speed and adds spin, so the best launch by loft alone lies near 11, under the model's 14 deg.
    table = told(drives).join(drives.select("golfer", part=part).unique(), on="golfer")

    assert set(table.filter(pl.col("part") == 0)["advice"]) == {"more loft"}
    assert set(table.filter(pl.col("part") == 1)["advice"]) == {"keep the loft"}
    assert set(table.filter(pl.col("part") == 2)["advice"]) == {"less loft"}
    assert set(table["loft_by"]) == {"impact"}
    assert table["note"].null_count() == 12


def test_every_row_without_figures_says_why():
    drives, names = near(), [f"g{k:016x}" for k in range(12)]
    golfers = golfers_of(drives)

    def with_row(index, column, value):
        row = pl.col("golfer") == names[index]
        return pl.when(row).then(pl.lit(value)).otherwise(pl.col(column)).alias(column)

    drives = drives.with_columns(with_row(0, "attack_deg", None))
    drives = drives.with_columns(
        pl.when(pl.col("golfer") == names[1])
        .then(pl.col("attack_deg") + 12)
        .otherwise("attack_deg")
        .alias("attack_deg")
    )
    golfers = golfers.with_columns(with_row(2, "spin_rpm", 9000.0)).with_columns(with_row(1, "launch_deg", 9.0))
    golfers = golfers.with_columns(with_row(3, "shots", 11)).with_columns(with_row(4, "spin_rpm", None))

    table = told(drives, golfers)

    notes = dict(table.select("golfer", "note").iter_rows())
    assert notes[names[4]] == UNSPUN
    assert table.filter(golfer=names[4]).select("spin_rpm", "gain_yd", "best_spin_rpm").row(0) == (None, None, None)
    assert notes[names[0]] == UNREAD
    assert notes[names[1]] == TOO_LOW
    assert notes[names[2]] == OUTSIDE
    assert names[3] not in notes
    for name in names[:3]:
        assert table.filter(pl.col("golfer") == name)["gain_yd"].item() is None


def test_more_attack_beyond_the_data_has_a_note_and_the_change_of_loft_stays():
    drives = near().with_columns(
        launch_deg=pl.col("launch_deg") - pl.col("launch_deg").mean().over("golfer") + 14.0,
        attack_deg=pl.col("attack_deg") - pl.col("attack_deg").mean().over("golfer"),
    )

    table = told(drives, launch_sd=0.3, spin_sd=60.0)

    beyond = table.filter(pl.col("note") == TOP_OUTSIDE)
    assert beyond.height > 0
    assert beyond["gain_yd"].null_count() == 0
    assert beyond["attack_change_deg"].null_count() == beyond.height


def test_carry_by_club_speed_tells_of_loft_alone():
    table = told(near().with_columns(ball_speed_mph=pl.lit(None, pl.Float64)), speed="club")

    given = table.filter(pl.col("gain_yd").is_not_null())
    assert given.height > 6
    assert given["attack_gain_yd"].null_count() == given.height
    assert set(given["note"]) == {UNSTRUCK}


def test_too_few_golfers_with_attack_are_told_so():
    drives = near().with_columns(pl.when(pl.col("golfer") < "g0000000000000005").then("attack_deg").alias("attack_deg"))

    table = told(drives)

    assert table["note"].value_counts(sort=True).rows() == [(UNREAD, 7), (UNTOLD, 5)]
    assert table["gain_yd"].null_count() == 12


def test_only_the_newest_quarter_is_told_and_all_quarters_give_the_slopes():
    drives = near()
    old = drives.with_columns(quarter=pl.lit("2026Q2"), attack_deg=pl.col("attack_deg") + 1.0)
    golfers = pl.concat([golfers_of(drives), golfers_of(old)])

    both = told(pl.concat([drives, old]), golfers)
    alone = told(drives)

    assert set(both["quarter"]) == {"2026Q3"}
    assert_frame_equal(both.select("golfer", "attack_deg"), alone.select("golfer", "attack_deg"))


def whole(drives):
    """Give drives every column that the step reads, empty where they have none."""
    absent = set(step.COLUMNS) - set(drives.columns)
    empty = [pl.lit(None, types_of(DriveTable)[name]).alias(name) for name in absent]
    days = drives.with_columns(empty).with_columns(pl.col("struck_on").fill_null(date(2026, 8, 1)))
    return days.select(step.COLUMNS).sort("golfer", maintain_order=True)


@pytest.fixture
def study(tmp_path):
    """Drives by golfer, and the other files that the step reads."""
    drives = near()
    whole(drives).write_parquet(tmp_path / "drives.parquet")
    unassessed = golfers_of(drives).with_columns(status=pl.lit("not_assessed"), main_cause=pl.lit("none"))
    write_csv(tmp_path / "golfers.csv", table_of(Golfers, unassessed))
    write_artefact(tmp_path / "model.json", FittedModel("hill", model(), FittedOn(360, 12, ("2026Q3",))))
    coefficients = model().coefficients + np.random.default_rng(1).normal(0, 0.01, (50, 4))
    np.savez(tmp_path / "replicates.npz", coefficients=coefficients)
    write_artefact(tmp_path / "frontier.json", frontier())
    return tmp_path


def run(study, out):
    read = {
        "drives": "drives.parquet",
        "model": "model.json",
        "replicates": "replicates.npz",
        "frontier": "frontier.json",
    }
    made = {"slopes": f"{out}slopes.csv", "delivery": f"{out}delivery.csv"}
    files = {k: str(study / v) for k, v in {**read, "golfers": "golfers.csv", **made}.items()}
    step.run(**files, min_shots=12)
    return [study / name for name in made.values()]


def test_the_step_writes_both_tables_the_same_twice(study, capsys):
    slopes, delivery = run(study, "one-")
    again = run(study, "two-")

    assert slopes.read_bytes() == again[0].read_bytes()
    assert delivery.read_bytes() == again[1].read_bytes()
    table = pl.read_csv(slopes)
    assert table.columns == DeliverySlopes.column_names()
    launch = table.row(0, named=True)
    assert (launch["response"], launch["predictor"], launch["scope"]) == ("launch_deg", "attack_deg", "within")
    assert launch["slope"] == pytest.approx(BY_ATTACK[0], abs=0.1)
    told_rows = pl.read_csv(delivery, infer_schema_length=None)
    assert told_rows.columns == Delivery.column_names()
    gains = told_rows.filter(pl.col("advice").is_in(["more loft", "less loft"])).height
    assert f"might give {gains} of 12 golfers" in capsys.readouterr().out


def test_logs_without_attack_give_an_empty_table_and_notes(study):
    path = study / "drives.parquet"
    pl.read_parquet(path).with_columns(attack_deg=pl.lit(None, pl.Float64)).write_parquet(path)

    slopes, delivery = run(study, "")

    assert pl.read_csv(slopes).height == 0
    assert pl.read_csv(delivery)["note"].to_list() == [UNREAD] * 12


NEW = (
    "path_deg", "face_deg", "plane_deg", "path_after_attack_deg", "path_after_attack_lo90_deg",
    "path_after_attack_hi90_deg", "path_by", "swing_direction_turn_deg", "start_direction_deg",
    "start_direction_lo90_deg", "start_direction_hi90_deg", "spin_axis_deg", "spin_axis_lo90_deg", "spin_axis_hi90_deg",
    "direction_note",
)  # fmt: skip


def test_path_and_face_add_columns_and_rows_and_change_nothing_else(study):
    slopes, delivery = (pl.read_csv(path, infer_schema_length=None) for path in run(study, "without-"))
    whole(directed_swings(near(), plane_deg=52.0)).write_parquet(study / "drives.parquet")

    more_slopes, more = (pl.read_csv(path, infer_schema_length=None) for path in run(study, "with-"))

    assert_frame_equal(more.drop(NEW), delivery.drop(NEW), check_exact=True)
    assert_frame_equal(more_slopes.head(slopes.height), slopes, check_exact=True)
    assert all(delivery[name].null_count() == 12 for name in NEW)
    assert {name: more[name].null_count() for name in NEW} == dict.fromkeys(NEW, 0)
    # Everybody has one loft, which therefore tells nothing.
    added = more_slopes.tail(-slopes.height)
    assert added.select("response", "predictor").rows() == [
        ("launch_side_deg", "face_deg"),
        ("launch_side_deg", "path_deg"),
        ("spin_axis_deg", "face_to_path_deg"),
        ("path_deg", "attack_deg"),
    ]


def test_a_golfer_without_path_or_attack_has_no_directions(study):
    drives = directed_swings(near(), plane_deg=52.0)
    names = sorted(set(drives["golfer"]))
    for name, column in zip(names[:3], ("path_deg", "attack_deg", "face_deg"), strict=True):
        drives = drives.with_columns(pl.when(pl.col("golfer") != name).then(column).alias(column))
    whole(drives).write_parquet(study / "drives.parquet")

    table = pl.read_csv(run(study, "")[1], infer_schema_length=None).sort("golfer")

    unread = table.head(2).select(NEW)
    assert all(unread[name].null_count() == 2 for name in NEW)
    faceless = table.row(2, named=True)
    assert faceless["path_after_attack_deg"] is not None
    assert faceless["start_direction_deg"] is faceless["spin_axis_deg"] is None


def test_notes_on_more_attack_name_the_change_that_is_looked_at():
    notes = [column.description for column in Delivery.columns().values()]
    told = [note for note in notes if "deg more attack" in note]

    assert len(told) == 2
    assert all(f"{ATTACK_CHANGE_DEG:g} deg more attack" in note for note in told)
