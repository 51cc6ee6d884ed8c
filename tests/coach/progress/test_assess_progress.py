from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to
from frontiers import frontier_at, one_error

from pipeline.benchmark.frontier import Frontier
from pipeline.coach.progress import compare_progress, pool_progress, sum_progress
from pipeline.coach.progress.assess_progress import run
from pipeline.edge import drives_file
from pipeline.edge.artefacts import read_artefact, write_artefact
from pipeline.edge.files import write_csv
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.flight.devices import NO_DEVICES
from pipeline.golfers.flags import FlagRules, assess
from pipeline.golfers.losses import known_losses
from pipeline.golfers.quarter_changes import changes_of
from pipeline.golfers.ranking import ranked
from pipeline.tables.golfers import Changes, Golfers
from pipeline.tables.progress import Cohorts, Progress
from pipeline.tables.types import types_of

GOLFERS = 24
SPEEDS = np.arange(66.0, 118.0)


@pytest.fixture(scope="module")
def given(world_maker, world_carry, tmp_path_factory):
    """Files for the step: two quarters of 24 golfers, eight to a group; the first eight gain 4 mph.

    The second device reads 15 % long; the last golfer changes between devices with every drive.
    """
    folder = tmp_path_factory.mktemp("progress")
    plain = world_maker(golfers=GOLFERS, noise_yd=2.0, share_b=0.15).drives
    turned = (pl.col("golfer") == f"g{GOLFERS - 1:016x}") & (pl.int_range(pl.len()) % 2 == 1)
    first = plain.with_columns(
        pl.when(turned).then(pl.lit("unit-B")).otherwise("device").alias("device"),
        pl.col("carry_standard_yd") * (1 + 0.15 * (turned & (pl.col("device") == "unit-A"))),
    )
    index = pl.col("golfer").str.slice(1).str.to_integer(base=16)
    faster = pl.when(index < 8).then(4.0).otherwise(0.0)
    ratio = pl.col("ball_speed_mph") / pl.col("club_speed_mph")
    second = first.with_columns(
        pl.lit("2026Q4").alias("quarter"),
        pl.col("club_speed_mph") + faster,
        pl.col("ball_speed_mph") + ratio * faster,
        pl.col("carry_standard_yd") + 1.7 * ratio * faster,  # as the world's carry has it
    )
    drives = pl.concat([first, second]).with_columns(
        pl.format("set {}", index // 8).alias("group"),
        pl.date(2026, 3 * pl.col("quarter").str.tail(1).cast(pl.Int8), 1 + pl.int_range(pl.len()) % 3).alias(
            "struck_on"
        ),
        pl.col("carry_standard_yd").alias("carry_measured_yd"),
        curve_yd=pl.lit(None, pl.Float64),
    )
    model = fit_to(candidate_named("line"), first).model
    launch, spin = 14 - 0.04 * (1.474 * SPEEDS - 135), 2600 - 12 * (1.474 * SPEEDS - 135)
    efficient = world_carry(SPEEDS * 1.474, launch, spin)
    frontier = frontier_at(SPEEDS, efficient, std_error_yd=0.5, launch_deg=launch, spin_rpm=spin)
    shared, rules = one_error(frontier), FlagRules(10, 0.10, 12)
    known, _ = known_losses(drives, model, shared, 0.0)
    golfers = Golfers.validate(assess(ranked(known), rules))
    write_csv(folder / "changes.csv", Changes.validate(changes_of(known, golfers, shared, rules)))
    write_csv(folder / "golfers.csv", golfers)
    drives.sort("golfer", "quarter").write_parquet(folder / "drives.parquet")
    write_artefact(folder / "frontier.json", frontier)
    write_artefact(folder / "model.json", FittedModel("hill", model, FittedOn(720, GOLFERS, ("2026Q3",))))
    names = {"drives": "drives.parquet", "model": "model.json", "frontier": "frontier.json", "golfers": "golfers.csv"}
    names |= {"changes": "changes.csv", "replicates": "replicates.npz", "efficient_replicates": "efficient.npz"}
    np.savez(folder / "replicates.npz", offset_share=np.zeros((2, len(model.offset_share))))
    np.savez(folder / "efficient.npz", error_yd=shared.efficient_yd, speed_mph=SPEEDS)
    write_artefact(folder / "devices.json", NO_DEVICES)
    names |= {"devices": "devices.json"}
    return {key: str(folder / name) for key, name in names.items()}, golfers


SETTINGS = {"false_discovery_rate": 0.10, "min_golfers": 5}


@pytest.fixture(scope="module")
def made(given, tmp_path_factory):
    """The step run on them."""
    folder, (at, golfers) = tmp_path_factory.mktemp("made"), given
    run(**at, progress=str(folder / "progress.csv"), cohorts=str(folder / "cohorts.csv"), **SETTINGS)
    read = (
        schema.validate(pl.read_csv(folder / name, schema_overrides=types_of(schema)), cast=True)
        for schema, name in ((Progress, "progress.csv"), (Cohorts, "cohorts.csv"))
    )
    return tuple(read), golfers


def test_who_gained_speed_is_told(made):
    (progress, _), _ = made
    assert progress.height == GOLFERS
    assert progress["club_speed_verdict"].to_list() == ["better"] * 8 + ["no_clear_change"] * 16
    assert progress["carry_from_speed_yd"].head(8).mean() == pytest.approx(4 * 1.7 * 1.46, rel=0.15)


def test_changes_are_those_of_the_golfers_table(made):
    (progress, _), golfers = made
    wide = golfers.pivot(on="quarter", index="golfer", values=["spin_rpm", "lost_yd", "carry_yd"])
    for name, change in (
        ("spin_rpm", "spin_change_rpm"),
        ("lost_yd", "lost_change_yd"),
        ("carry_yd", "carry_change_yd"),
    ):
        moved = wide[f"{name}_2026Q4"] - wide[f"{name}_2026Q3"]
        assert progress[change].to_numpy() == pytest.approx(moved.to_numpy())


def test_what_a_device_adds_to_carry_is_no_scatter_of_the_golfer(made):
    (progress, _), _ = made
    width = (progress["carry_change_hi90_yd"] - progress["carry_change_lo90_yd"]).to_list()
    assert width[-1] < 1.6 * np.median(width)


def test_cohorts_are_all_golfers_and_each_group(made):
    (_, cohorts), _ = made
    assert cohorts.select("group", "golfers", "club_speed_better").rows() == [
        (None, 24, 8), ("set 0", 8, 8), ("set 1", 8, 0), ("set 2", 8, 0)
    ]  # fmt: skip
    assert cohorts["club_speed_change_mph"].to_list() == pytest.approx([4 / 3, 4.0, 0.0, 0.0])


MEASURED_WITH = ("model", "frontier", "replicates", "efficient_replicates", "devices")


def run_in_parts(folder, at, count):
    """Run the steps of a study that is cut into parts, as the rules do."""
    parts = [f"{number}-of-{count}" for number in range(1, count + 1)]
    measured_with = {name: at[name] for name in MEASURED_WITH}
    of_part = {
        part: {name: str(folder / f"{part}.{name}.parquet") for name in ("table", "quarters", "days", "moves")}
        for part in parts
    }
    for part in parts:
        sum_progress.run(drives=at["drives"], golfers=at["golfers"], part=part, **of_part[part], **measured_with)
    listed = {name: [of_part[part][name] for part in parts] for name in ("quarters", "days", "moves")}
    pooled = str(folder / "pooled.json")
    pool_progress.run(**listed, model=at["model"], pooled=pooled)
    compared = [str(folder / f"{part}.compared.parquet") for part in parts]
    for part, path in zip(parts, compared, strict=True):
        compare_progress.run(
            **of_part[part],
            **measured_with,
            drives=at["drives"],
            changes=at["changes"],
            part=part,
            pooled=pooled,
            compared=path,
        )
    made = {name: str(folder / f"{name}.csv") for name in ("progress", "cohorts")}
    run(golfers=at["golfers"], parts=compared, pooled=pooled, **made, **SETTINGS)


def bytes_of(folder):
    return [(folder / name).read_bytes() for name in ("progress.csv", "cohorts.csv")]


@pytest.fixture
def small_pieces(monkeypatch):
    """Pieces of some three golfers, who have 60 drives each."""
    monkeypatch.setattr(drives_file, "PIECE_ROWS", 170)


@pytest.mark.parametrize("moved_share", [0.0, pytest.param(0.3, marks=pytest.mark.bench)])
@pytest.mark.usefixtures("small_pieces")
def test_any_number_of_parts_gives_the_same_bytes(given, tmp_path, moved_share, capsys):
    at, _ = given
    frontier = replace(read_artefact(at["frontier"], Frontier), moved_share=moved_share)
    write_artefact(tmp_path / "frontier.json", frontier)
    at = at | {"frontier": str(tmp_path / "frontier.json")}
    if moved_share:
        further = pl.col("carry_measured_yd") - pl.int_range(pl.len()) % 7
        pl.read_parquet(at["drives"]).with_columns(further).write_parquet(tmp_path / "drives.parquet")
        at |= {"drives": str(tmp_path / "drives.parquet")}
    run(**at, progress=str(tmp_path / "progress.csv"), cohorts=str(tmp_path / "cohorts.csv"), **SETTINGS)
    told = capsys.readouterr().out
    for count in (1, 2, 3, 40):
        folder = tmp_path / str(count)
        folder.mkdir()
        run_in_parts(folder, at, count)
        assert bytes_of(folder) == bytes_of(tmp_path)
        assert capsys.readouterr().out.endswith(told)
    assert pl.read_parquet(tmp_path / "2/1-of-2.compared.parquet").height in range(9, 16)
    assert pl.read_parquet(tmp_path / "2/1-of-2.moves.parquet").is_empty() == (moved_share == 0)
