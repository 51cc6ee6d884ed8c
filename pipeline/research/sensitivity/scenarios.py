"""The scenarios of sensitivity: the study as it is, and each of its choices made otherwise."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import polars as pl

from pipeline.drives import Drives
from pipeline.flight.calibrate import Calibration
from pipeline.flight.offsets import CELL, MIN_SHOTS, UNSTATED, count_levels
from pipeline.tables.sensitivity import BASE, DEFINITIONS

# Of devices, balls and quarters those of most drives are left out in turn: more would cost time and say little.
MOST_LEVELS = 10
# The tenth of drives that curve most stands for "drives that curve": a straight flight is taken for all.
CURVED_SHARE = 0.10
AXIS = "spin_axis_deg"
MIN_AXES = 200  # drives with a spin axis from which it is asked for
# A candidate whose error on golfers held out is this many times the chosen one's is none that anybody
# would choose for these drives; what it moves is shown, but no interval is asked to hold it.
REJECTED_FROM = 1.25
SHARES = (0.60, 0.70, 0.80, 0.90)
STRIKES = (0.60, 0.75, 0.90)

Kind = Literal["base", "alternative", "rejected", "definition"]


@dataclass(frozen=True)
class Scenario:
    """One choice made otherwise; what is None stays as in the study.

    Attributes
    ----------
    name : str
        As people read it.
    choice : str
        A word of `Sensitivity.choice`.
    kind : str
        A word of `Sensitivity.kind`.
    fitted : Expr or None
        Which drives fit and benchmarks rest on; None for all.
    judged : Expr or None
        Which of the newest quarter's drives golfers are judged by; None for all.
    calibration : Calibration or None
        Flight by which carry is moved to standard conditions, and flown.
    candidate : str or None
        Form of the surface.
    deliveries, strike : float or None
        As in the configuration's `Efficient`.
    min_shots : int or None
        Drives that a golfer needs, to be assessed and to show which deliveries exist.
    note : str or None
        What to keep in mind.
    """

    name: str
    choice: str
    kind: Kind = "alternative"
    fitted: pl.Expr | None = None
    judged: pl.Expr | None = None
    calibration: Calibration | None = None
    candidate: str | None = None
    deliveries: float | None = None
    strike: float | None = None
    min_shots: int | None = None
    note: str | None = None


THE_BASE = Scenario("as it is", BASE, "base")


def by_flight(kept: Calibration, others: Sequence[Calibration]) -> Iterator[Scenario]:
    """Move and fly drives by other calibrations; by the kept set as published too, where it was fitted."""
    for one in others:
        yield Scenario(f"flight set {one.coefficients}", "flight", calibration=one, note=_fit_words(kept, one))
    if kept.drag_std_error is not None:
        published = Calibration(kept.coefficients, 1.0, 1.0, None, None, [], 0, 0, None, None, "as published")
        yield Scenario(f"flight set {kept.coefficients} as published", "flight", calibration=published)


def _fit_words(kept: Calibration, other: Calibration) -> str | None:
    """Say how well a set's flights meet the study's drives."""
    if kept.residual_sd_yd is None or other.residual_sd_yd is None:
        return None
    both = f"{other.residual_sd_yd:.1f} yd; about the kept set's by {kept.residual_sd_yd:.1f} yd"
    return f"drives scatter about this set's flights by {both}"


def by_level(drives: Drives) -> Iterator[Scenario]:
    """Leave out each device and each ball that has enough drives for a share of its own."""
    counts = drives.gathered(count_levels)
    for column in CELL:
        for level in _largest(counts, column):
            kept = pl.col(column).fill_null(UNSTATED) != level
            yield Scenario(f"without {column} {level}", column, fitted=kept, judged=kept)


def by_quarter(drives: Drives) -> Iterator[Scenario]:
    """Leave each quarter out of the fit; the newest quarter's golfers are judged by it all the same."""
    counts = drives.gathered(lambda frame: frame.group_by("quarter").agg(pl.len().cast(pl.Int64).alias("drives")))
    for quarter in sorted(_largest(counts, "quarter")):
        yield Scenario(f"without quarter {quarter}", "quarter", fitted=pl.col("quarter") != quarter)


def _largest(counts: pl.DataFrame, column: str) -> list[str]:
    """Name the levels of most drives; none where there is but one."""
    sums = counts.group_by(column).agg(pl.col("drives").sum())
    ranked = sums.sort(["drives", column], descending=[True, False])
    enough: list[str] = ranked.filter(pl.col("drives") >= MIN_SHOTS).get_column(column).to_list()
    return enough[:MOST_LEVELS] if ranked.height > 1 else []


def by_candidate(scores: pl.DataFrame) -> Iterator[Scenario]:
    """Use each candidate that competed and wasn't chosen; `scores` is a table `Scores`."""
    chosen = scores.filter("chosen").get_column("rmse_yd").item()
    for name, error in scores.filter(~pl.col("chosen")).select("model", "rmse_yd").iter_rows():
        kind: Kind = "rejected" if error > REJECTED_FROM * chosen else "alternative"
        yield Scenario(f"candidate {name}", "candidate", kind, candidate=name)


def by_curve(drives: Drives) -> Iterator[Scenario]:
    """Leave out the drives that curve most, where logs tell the spin axis."""
    # Quantiles need a whole column.
    axes = drives.gathered(lambda frame: frame.select(pl.col(AXIS).cast(pl.Float64).abs())).drop_nulls()
    if axes.height >= MIN_AXES:
        most = axes.get_column(AXIS).quantile(1 - CURVED_SHARE, "linear")
        kept = (pl.col(AXIS).abs() <= most).fill_null(True)
        name = f"without the {100 * CURVED_SHARE:.0f} % of drives that curve most"
        yield Scenario(name, "curved drives", fitted=kept, judged=kept)


def by_rules(min_shots: int, efficient: Mapping[str, float]) -> Iterator[Scenario]:
    """Ask twice the drives of a golfer, and define efficient otherwise; `efficient` has deliveries and strike."""
    yield Scenario(f"at least {2 * min_shots} drives a golfer", "least drives", min_shots=2 * min_shots)
    deliveries, strike = DEFINITIONS
    for share in SHARES:
        if share != efficient[deliveries]:
            yield Scenario(f"{100 * share:.0f} % of deliveries", deliveries, "definition", deliveries=share)
    for share in STRIKES:
        if share != efficient[strike]:
            yield Scenario(f"contact better than {100 * share:.0f} % of golfers'", strike, "definition", strike=share)


def scenarios_of(
    drives: Drives,
    kept: Calibration,
    others: Sequence[Calibration],
    scores: pl.DataFrame,
    min_shots: int,
    efficient: Mapping[str, float],
) -> list[Scenario]:
    """List every scenario of a study but the base.

    Parameters
    ----------
    drives : Drives
        device, ball, quarter and `AXIS`.
    kept : Calibration
        Of the study's flight.
    others : sequence of Calibration
        Of the other sets.
    scores : DataFrame
        The table `Scores`.
    min_shots : int
    efficient : mapping
        deliveries and strike.
    """
    alternatives = (
        by_flight(kept, others),
        by_level(drives),
        by_quarter(drives),
        by_candidate(scores),
        by_curve(drives),
    )
    return [*(one for part in alternatives for one in part), *by_rules(min_shots, efficient)]
