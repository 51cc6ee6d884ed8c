"""Publications of invented academies that differ by few golfers, and what an attacker makes of two of them.

The attacker holds both, knows the method, and all drives of everybody but the victim. Two ways are tried: differences
that give a figure outright (`outright`), and rehearsal: other golfers are put in the victim's place, and what then
changes in any figure of any file is learned against what these golfers are (`Rehearsed`).
"""

import re
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
import polars as pl
from conftest import true_carry_yd
from fitting import candidate_named, fit_to

import pipeline
from pipeline.bands import SpeedBands
from pipeline.benchmark.bands import band_table, golfers_by_quarter
from pipeline.benchmark.efficient import Population, efficient_at, supported_speeds
from pipeline.benchmark.efficient_by_speed import find_efficient, frontier_of
from pipeline.benchmark.lookup_command import Asked, place_of
from pipeline.benchmark.support import kernel_weights
from pipeline.coach.landing.landing_tables import OnTurf, landing_bands
from pipeline.drives import Drives, typical_drives
from pipeline.fit.resampled import draw_counts, refit
from pipeline.flight.calibrate import Calibration

BANDS, MIN_GOLFERS, MIN_SHOTS, TOLERANCE_YD = SpeedBands((80.0, 90.0, 100.0), 5.0), 5, 12, 5.0
REPLICATES = 8
FLIGHT = Calibration("smits-smith-1994", 0.9, 1.0, None, None, [], 0, 0, None, None, "")
TURFS = ("firm",)
AIR = {"temp_c": 15.0, "pressure_hpa": 1013.25, "humidity": 0.0}
FIGURES = ("shots", "club_speed_mph", "launch_deg", "spin_rpm", "carry_yd")

# How near is too near: drives as a share of them, the others in their unit.
NEAR = {"shots": 0.1, "club_speed_mph": 0.5, "launch_deg": 0.3, "spin_rpm": 80.0, "carry_yd": 1.0}


def published_files():
    """Give the files that the workflow's rules write into benchmarks/."""
    rules = [path.read_text(encoding="utf-8") for path in Path(pipeline.__file__).parent.rglob("*.smk")]
    return {file for text in rules for file in re.findall(r'\{OUT\}/benchmarks/([^"]+)"', text)}


def golfers_at(rng, speeds):
    """Draw golfers of given club speeds: how each drives, and how often."""
    n = len(speeds)
    planted = {
        "shots": np.clip(np.exp(rng.normal(np.log(45), 0.55, n)), MIN_SHOTS, 160).round(),
        "club_speed_mph": speeds,
        "ratio": rng.normal(1.46, 0.02, n),
        "launch_deg": 14 - 0.04 * (1.46 * speeds - 135) + rng.normal(0, 1.8, n),
        "spin_rpm": 2600 - 12 * (1.46 * speeds - 135) + rng.normal(0, 350, n),
    }
    return pl.DataFrame(planted)


def drives_of(rng, golfers, quarter="2026Q2", first=0):
    """Draw the drives of a quarter by golfers as `golfers_at` gives them, named by their place."""
    who = np.repeat(np.arange(golfers.height), golfers["shots"].to_numpy().astype(int))
    n = len(who)
    speed, ratio, launch, spin = (
        golfers[c].to_numpy()[who] for c in ("club_speed_mph", "ratio", "launch_deg", "spin_rpm")
    )
    club = speed * rng.normal(1, 0.012, n)
    ball = club * (ratio + rng.normal(0, 0.012, n))
    launch, spin = launch + rng.normal(0, 1.0, n), spin * rng.normal(1, 0.07, n)
    flown = true_carry_yd(ball, launch, spin)
    figures = {"club_speed_mph": club, "ball_speed_mph": ball, "launch_deg": launch, "spin_rpm": spin}
    figures |= {"carry_standard_yd": flown + rng.normal(0, 3.0, n), "flown_yd": 0.97 * flown}
    named = [pl.Series("golfer", [f"g{place + first:016x}" for place in who]), pl.Series("quarter", [quarter] * n)]
    same = {"device": "unit-A", "ball": "premium", "spin_measured": True}
    return pl.DataFrame([*named, *(pl.Series(*one) for one in figures.items())]).with_columns(
        **{name: pl.lit(value) for name, value in same.items()}
    )


@dataclass(frozen=True)
class Publication:
    """What an academy publishes of its drives.

    Attributes
    ----------
    tables : dict of str to DataFrame
        By the file.
    frontier : Frontier or None
        None where it isn't published.
    drives : int
        All of them, which isn't published.
    """

    tables: dict
    frontier: object
    drives: int

    def with_exact_drives(self):
        """Give the publication with all drives told, in the first of its bands: attackers add them up."""
        bands = self.newest
        told = bands.with_columns(pl.Series("shots", [self.drives] + [0] * (bands.height - 1)))
        return replace(self, tables={**self.tables, "bands.csv": told})

    @classmethod
    def of(cls, drives, roller, files):
        """Make a publication as the workflow does, with fewer replicates and one candidate model."""
        drives = drives.sort("golfer", "quarter", maintain_order=True)
        model, typical = fit_to(candidate_named("quadratic"), drives).model, typical_drives(drives, ["golfer"])
        refits = refit(model, drives, typical, draw_counts(typical.height, 1, REPLICATES))
        population = Population.from_typical(typical, MIN_SHOTS)
        centers = np.array(BANDS.centres_mph)
        made = model, refits, population
        if "frontier.json" in files:
            efficient = find_efficient(*made, BANDS, MIN_GOLFERS, TOLERANCE_YD, roller, quiet=True)
        else:  # then nothing that is published comes from other speeds
            speeds = supported_speeds(population, BANDS.half_width_mph, MIN_GOLFERS, centers).tolist()
            efficient = {v: efficient_at(*made, v, BANDS.half_width_mph, TOLERANCE_YD, roller) for v in speeds}
        golfers = golfers_by_quarter(drives, model, MIN_SHOTS)
        bands = band_table(model, golfers, efficient, BANDS, MIN_GOLFERS, roller)
        about = {"study": "hill", "air": AIR, "turf": "normal", "model_file": "model.json"}
        frontier = frontier_of(efficient, Drives.of(drives), BANDS.half_width_mph, tolerance_yd=TOLERANCE_YD, **about)
        turfs = {t: OnTurf.of(frontier, model, place_of(FLIGHT, AIR, "normal", Asked(turf=t))) for t in TURFS}
        tables = {"bands.csv": bands, "landing_bands.csv": landing_bands(turfs, bands)}
        return cls(tables, frontier if "frontier.json" in files else None, drives.height)

    @cached_property
    def newest(self):
        """The band table's newest quarter."""
        bands = self.tables["bands.csv"]
        return bands.filter(pl.col("quarter") == pl.col("quarter").max()).sort("band_mph")

    @cached_property
    def figures(self):
        """All figures of all tables in a row, NaN where there is none; of bands.csv the newest quarter's."""
        told = [self.newest, self.tables["landing_bands.csv"]]
        return np.concatenate([t.select(pl.selectors.numeric()).to_numpy().astype(float).ravel() for t in told])


@dataclass(frozen=True)
class Pair:
    """Two publications, the victim in the first one alone, and what the victim is.

    Attributes
    ----------
    victim : dict of str to float
        `FIGURES`, and band_mph.
    with_victim, without : Publication
    """

    victim: dict
    with_victim: Publication
    without: Publication

    @cached_property
    def differences(self):
        """What changes in any figure with the victim; what only one publication has, as -1 or 1, and nothing else."""
        one, other = self.with_victim.figures, self.without.figures
        gone = np.isnan(other).astype(float) - np.isnan(one)
        return np.concatenate([np.nan_to_num(one - other), gone])


def figures_of(drives, band_mph):
    """Give what a golfer of such drives is."""
    means = {name: float(drives[name].mean()) for name in ("club_speed_mph", "launch_deg", "spin_rpm")}
    return {"shots": drives.height, **means, "carry_yd": drives["carry_standard_yd"].median(), "band_mph": band_mph}


def outright(pair):
    """Read the victim's figures off the differences, as far as they tell."""
    found = {}
    one, other = pair.with_victim.newest, pair.without.newest
    more = one["golfers"].fill_null(0) - other["golfers"].fill_null(0)
    shots = (one["shots"].fill_null(0) - other["shots"].fill_null(0)).sum()
    if shots > 0:
        found["shots"] = float(shots)
    if more.ne(0).sum() == 1:
        found["club_speed_mph"] = float(one["band_mph"].filter(more != 0)[0])
    if pair.with_victim.frontier is not None and shots > 0:
        found |= _by_weights(pair, float(shots))
    return found


def _by_weights(pair, shots):
    """Solve the weights and means at every mph, which the frontier has of golfers and drives near, for the victim."""
    one, other = pair.with_victim.frontier, pair.without.frontier
    speeds = np.intersect1d(one.speed_mph, other.speed_mph)
    here, there = (np.searchsorted(f.speed_mph, speeds) for f in (one, other))
    more = one.golfers[here] - other.golfers[there]
    tried = np.arange(speeds[0], speeds[-1] + 0.05, 0.1)
    misses = [np.square(more - kernel_weights(speeds, v, BANDS.half_width_mph)).sum() for v in tried]
    speed = float(tried[np.argmin(misses)])
    near = kernel_weights(speeds, speed, BANDS.half_width_mph)
    bands = pair.without.newest
    behind = other.golfers[there] * bands["shots"].sum() / bands["golfers"].sum()
    told = near > 0.6
    means = one.near.mean[here] + (behind / (near * shots))[:, None] * (one.near.mean[here] - other.near.mean[there])
    launch, spin = np.average(means[told], axis=0, weights=near[told])
    return {"club_speed_mph": speed, "launch_deg": float(launch), "spin_rpm": float(spin)}


@dataclass(frozen=True)
class Rehearsed:
    """What differences tell of a victim to one who tried the same with other golfers, whom he knows.

    Kernel ridge regression, its width and ridge by leaving each rehearsal out. The victim's band is among what he goes
    by: he may know it, and counts of golfers may tell it.
    """

    pairs: list

    @cached_property
    def _scale(self):
        told = np.array([one.differences for one in self.pairs])
        spread = told.std(axis=0)
        return told.mean(axis=0), np.where(spread > 0, spread, np.inf)

    def _inputs(self, pairs):
        mean, spread = self._scale
        told = np.clip((np.array([one.differences for one in pairs]) - mean) / spread, -4, 4)
        told = told / np.sqrt(max(np.isfinite(spread).sum(), 1))
        return np.column_stack([told, [one.victim["band_mph"] / BANDS.half_width_mph for one in pairs]])

    def guess(self, pairs, name):
        """Give the figure `name` of each victim, shape (pairs,)."""
        own, asked = self._inputs(self.pairs), self._inputs(pairs)
        known = np.array([one.victim[name] for one in self.pairs], dtype=float)
        # Drives are near by their ratio.
        known = np.log(known) if name == "shots" else known
        best = None
        for width in (0.5, 1.0, 2.0, 4.0):
            kernel, others = _kernel(own, own, width), _kernel(asked, own, width)
            for ridge in (0.001, 0.01, 0.1, 1.0):
                inverse = np.linalg.inv(kernel + ridge * np.eye(len(known)))
                weights = inverse @ (known - known.mean())
                miss = np.square(weights / np.diag(inverse)).mean()
                if best is None or miss < best[0]:
                    best = miss, known.mean() + others @ weights
        return np.exp(best[1]) if name == "shots" else best[1]


def _kernel(one, other, width):
    return np.exp(-np.square(one[:, None] - other).sum(axis=2) / (2 * width**2))


def band_guess(rehearsals, pairs, name):
    """Guess a figure of each victim from the band alone: the median of golfers like those of it."""
    known = pl.DataFrame([one.victim for one in rehearsals])
    by_band = dict(known.group_by("band_mph").agg(pl.col(name).median()).iter_rows())
    return np.array([by_band[one.victim["band_mph"]] for one in pairs])


def misses(guesses, pairs, name):
    """Give how far guesses are off, in `NEAR` of the figure; infinite without a guess."""
    true = np.array([one.victim[name] for one in pairs], dtype=float)
    off = np.abs(np.asarray(guesses, dtype=float) - true) / (NEAR[name] * (true if name == "shots" else 1.0))
    return np.nan_to_num(off, nan=np.inf)
