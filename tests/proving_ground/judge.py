"""Hold what the pipeline found in an academy against its truth, and beside it the oracle.

The truth is none of the pipeline's code. The oracle is the same figure by the pipeline's definitions from the true
flight and the true deliveries: what is left is the luck of which golfers there are and of how they hit, which no method
can beat.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import permutations

import numpy as np
import polars as pl
import truth
from academy import Academy, make_academy
from readings_bound import least_rmse_yd
from study_run import Found
from true_flight import Array, carry_yd
from worlds import World

from pipeline.benchmark.efficient import Population, map_at
from pipeline.benchmark.window import largest_window
from pipeline.edge.artefacts import read_artefact
from pipeline.fit.model import Delivery, FittedModel
from pipeline.fit.usual_delivery import UsualDelivery, fit_usual_delivery

SPEEDS_MPH = np.arange(50.0, 135.1, 5.0)  # between them the line is within 0.1 yd of the truth (tested)
TOLERANCE_YD = 5.0
HALF_WIDTH_MPH = 5.0


@dataclass(frozen=True)
class Curve:
    """Efficient carry, its delivery and the better ratio over club speed."""

    carry_yd: Array
    launch_deg: Array
    spin_rpm: Array
    ball_speed_mph: Array

    def at(self, name: str, speed_mph: Array) -> Array:
        """Interpolate one of them."""
        return np.asarray(np.interp(speed_mph, SPEEDS_MPH, getattr(self, name)))


def true_curve(world: World, ball: str) -> Curve:
    """Give the truth on the scale of true flight."""
    at = [truth.efficient(world, ball, float(v), 0.0) for v in SPEEDS_MPH]
    return Curve(*(np.array([getattr(one, name) for one in at]) for name in Curve.__dataclass_fields__))


@dataclass(frozen=True)
class TrueModel:
    """True flight in the place of a fitted model."""

    ball: str
    usual: UsualDelivery

    def better_speed(self, club_speed_mph: float) -> Array:
        """Give ball speed when struck as the better quarter do, mph."""
        assert self.usual.better_ratio is not None
        return np.asarray(club_speed_mph * self.usual.better_ratio(club_speed_mph))

    def better_on_grid(self, club_speed_mph: float, launch_deg: Array, spin_rpm: Array) -> Array:
        """Give true carry over a launch and spin grid, yd."""
        speed = self.better_speed(club_speed_mph)
        return carry_yd(self.ball, speed, launch_deg[:, None], spin_rpm[None, :])


def oracle_curve(academy: Academy) -> Curve:
    """Give what the pipeline's definitions make of the true deliveries and the true flight."""
    usual = academy.usual.group_by("golfer").agg(
        pl.col("shots").sum(),
        pl.col("club_speed_mph", "usual_ratio", "usual_launch_deg", "usual_spin_rpm").mean(),
    )
    usual = usual.sort("golfer")
    named = usual.rename({"usual_ratio": "speed_ratio"}).with_columns(speed_ratio_var=pl.lit(0.0))
    named = named.rename({"usual_launch_deg": "launch_deg", "usual_spin_rpm": "spin_rpm"})
    knowing = TrueModel(academy.ball, fit_usual_delivery(named))
    population = Population.from_typical(named, 1)
    rows = []
    for v in SPEEDS_MPH:
        at = map_at(knowing, population, float(v), HALF_WIDTH_MPH)  # type: ignore[arg-type]
        best = np.unravel_index(np.argmax(np.where(at.supported, at.carry_yd, -np.inf)), at.carry_yd.shape)
        struck = float(knowing.better_speed(float(v)))
        rows.append((at.carry_yd[best], at.launch_deg[best[0]], at.spin_rpm[best[1]], struck))
    return Curve(*np.array(rows).T)


def golfer_truth(academy: Academy, curve: Curve) -> pl.DataFrame:
    """Give true yards lost and parts per golfer and quarter, on the scale of the reference device and ball."""
    usual, scale = academy.usual, 1 + academy.reference_share
    v, ratio, launch, spin, mean = (
        usual.get_column(c).to_numpy()
        for c in ("club_speed_mph", "usual_ratio", "usual_launch_deg", "usual_spin_rpm", "mean_carry_yd")
    )

    def flown(speed: Array, l: Array, s: Array) -> Array:
        return carry_yd(academy.ball, speed, l, s) * scale

    # Efficient carry is of straight drives: what they lose by bending is a part of its own.
    straight = usual.get_column("mean_straight_yd").to_numpy() if academy.world.curving else mean
    best = [curve.at(name, v) for name in ("ball_speed_mph", "launch_deg", "spin_rpm")]
    parts = exchanged(flown, best, [v * ratio, launch, spin])
    typical = flown(v * ratio, launch, spin)
    efficient = flown(*best)
    return usual.with_columns(
        true_efficient_yd=efficient,
        true_lost_yd=efficient - mean,
        true_contact_yd=parts[0],
        true_launch_yd=parts[1],
        true_spin_yd=parts[2],
        true_consistency_yd=typical - straight,
        true_curve_yd=straight - mean,
        true_other_yd=0.0,
    )


def exchanged(flown: Callable[..., Array], best: list[Array], own: list[Array]) -> list[Array]:
    """Share out what the best gives more than a golfer's own: each thing's gain, in the mean over all orders."""
    parts = [np.zeros_like(own[0]) for _ in own]
    orders = list(permutations(range(len(own))))
    for order in orders:
        now = list(own)
        for i in order:
            before = flown(*now)
            now[i] = best[i]
            parts[i] += (flown(*now) - before) / len(orders)
    return parts


def judge_bands(academy: Academy, found: Found, oracle: Curve) -> pl.DataFrame:
    """Hold efficient carry and window against the truth at each band's centre; one row a band."""
    scale = 1 + academy.reference_share
    bands = pl.read_csv(found.folder / "bands.csv", infer_schema_length=None)
    bands = bands.filter(pl.col("efficient_carry_yd").is_not_null()).group_by("band_mph").agg(
        pl.col("golfers").max(), pl.all().exclude("golfers").last()
    ).sort("band_mph")  # fmt: skip
    rows = []
    for band in bands.to_dicts():
        v = band["band_mph"]
        true = truth.efficient(academy.world, academy.ball, v, academy.reference_share)
        within = true.carry_map_yd >= true.carry_yd - TOLERANCE_YD
        most = largest_window(within & true.inside, truth.LAUNCH_GRID, truth.SPIN_GRID)
        row = {
            "band_mph": v,
            "golfers": band["golfers"],
            "estimate": band["efficient_carry_yd"],
            "lo": band["efficient_lo90_yd"],
            "hi": band["efficient_hi90_yd"],
            "truth": true.carry_yd,
            "oracle": float(oracle.at("carry_yd", np.array([v]))[0]) * scale,
            "window_true_share": None,
            "window_size_share": None,
        }
        if band["launch_lo_deg"] is not None and most is not None:
            launch = (band["launch_lo_deg"] <= truth.LAUNCH_GRID) & (band["launch_hi_deg"] >= truth.LAUNCH_GRID)
            spin = (band["spin_lo_rpm"] <= truth.SPIN_GRID) & (band["spin_hi_rpm"] >= truth.SPIN_GRID)
            row["window_true_share"] = float(within[np.ix_(launch, spin)].mean())
            area = (band["launch_hi_deg"] - band["launch_lo_deg"]) * (band["spin_hi_rpm"] - band["spin_lo_rpm"])
            widest = (most.launch_hi_deg - most.launch_lo_deg) * (most.spin_hi_rpm - most.spin_lo_rpm)
            row["window_size_share"] = area / widest
        rows.append(row)
    return pl.DataFrame(rows, infer_schema_length=None)


def judge_golfers(academy: Academy, found: Found, curve: Curve, oracle: Curve) -> pl.DataFrame:
    """Hold yards lost, parts and flags against the truth; one row per golfer and quarter.

    The true cause is `kind`, the planted fault.
    """
    scale = 1 + academy.reference_share
    true = golfer_truth(academy, curve).with_row_index("row")
    mean = academy.drives.group_by("row").agg(pl.col("true_carry_yd").mean() * scale)
    table = found.golfers("golfers.csv").drop("club_speed_mph", "shots")
    joined = true.join(mean.cast({"row": pl.UInt32}), on="row").join(table, on=["golfer", "quarter"], how="inner")
    at = oracle.at("carry_yd", joined.get_column("club_speed_mph").to_numpy()) * scale
    return joined.with_columns(pl.Series("oracle_lost_yd", at) - pl.col("true_carry_yd")).sort("golfer", "quarter")


def judge_held_out(academy: Academy, found: Found, seed: int) -> pl.DataFrame:
    """Predict drives of golfers whom the study never saw, on its first device and best ball; one row.

    The oracle is true carry of the true drive: what is left is what no reading explains. Beside it stands true flight
    of the readings, errors and all, and the least error that any method can have with such readings. All of it is of
    straight drives.
    """
    calm = replace(
        academy.world,
        golfers=60,
        shots=(10, 10),
        device_b=0.0,
        overlap=0.0,
        range_balls=0.0,
        altitude_m=0.0,
        curving=False,
    )
    others = make_academy(calm, academy.ball, seed)
    fresh = others.drives
    model = read_artefact(found.folder / "model.json", FittedModel).model
    expected = model.expected(Delivery.of(fresh)) * (1 + model.added_share(fresh))
    drive = (fresh.get_column(name).to_numpy() for name in ("ball_speed_mph", "launch_deg", "spin_rpm"))
    readings = carry_yd(academy.ball, *drive)
    measured, true = fresh.get_column("carry_yd").to_numpy(), fresh.get_column("true_flight_yd").to_numpy()
    oracle_rmse = float(np.sqrt(np.mean((true - measured) ** 2)))
    return pl.DataFrame(
        {
            "rmse_yd": [float(np.sqrt(np.mean((expected - measured) ** 2)))],
            "oracle_rmse_yd": [oracle_rmse],
            "least_rmse_yd": [least_rmse_yd(others, oracle_rmse)],
            "readings_rmse_yd": [float(np.sqrt(np.mean((readings - measured) ** 2)))],
            "bias_yd": [float(np.mean(expected - measured))],
            "model": [model.surface.name],
        }
    )
