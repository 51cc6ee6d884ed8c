"""Who is flagged: yards lost above the threshold at a controlled false discovery rate, and the main cause."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.golfers.causes import main_cause
from pipeline.golfers.day_form import EXPOSED_FROM, DayForm
from pipeline.statistics.false_discovery import adjusted
from pipeline.statistics.intervals import t_reach
from pipeline.statistics.skewed import bent, pooled_skewness, straightened
from pipeline.tables.golfers import Golfers


@dataclass(frozen=True)
class FlagRules:
    """When a golfer is flagged.

    Attributes
    ----------
    lost_yd : float
        The threshold.
    false_discovery_rate : float
    min_shots : int
        Drives that an assessment needs.
    day_form_yd : float
        Standard deviation of a day's form to go by where the logs don't show it; 0 is none.
    """

    lost_yd: float
    false_discovery_rate: float
    min_shots: int
    day_form_yd: float = 0.0


def assess(lost: pl.DataFrame, rules: FlagRules, *, causes: bool = True) -> pl.DataFrame:
    """Test and flag golfers.

    Parameters
    ----------
    lost : DataFrame
        From `known_losses`, with the columns of `ranked`: one row per golfer and quarter.
    rules : FlagRules
    causes : bool
        Whether the parts of the yards lost are known.

    Returns
    -------
    DataFrame
        `lost` with the other columns of `Golfers`. The test is one-sided, against a loss of no more than the
        threshold; p-values are adjusted within each quarter.
    """
    few = pl.col("shots") < rules.min_shots
    beyond = pl.col("lost_yd").is_null()
    tested = lost.with_columns(
        (few | beyond).alias("unassessed"), *_test(lost, rules.lost_yd), _notes(few, beyond, rules, causes=causes)
    )
    tested = tested.with_columns(pl.when(~pl.col("unassessed")).then(pl.col("p_value")).alias("p_value"))
    tested = tested.with_columns(adjusted(tested.get_column("p_value"), tested.get_column("quarter")))
    flagged = (pl.col("q_value") <= rules.false_discovery_rate).fill_null(False)
    status = pl.when("unassessed").then(pl.lit("not_assessed")).when(flagged).then(pl.lit("flagged"))
    return tested.with_columns(
        flagged.alias("flagged"),
        status.otherwise(pl.lit("clear")).cast(Golfers.status.dtype).alias("status"),
        (main_cause(tested) if causes else pl.lit("none")).cast(Golfers.main_cause.dtype).alias("main_cause"),
    )


def _test(lost: pl.DataFrame, threshold_yd: float) -> list[pl.Series]:
    """Interval and p-value by Student's t, mended for skewed drives."""
    from scipy.special import stdtr

    value, error, freedom, own, each = (
        lost.get_column(name).cast(pl.Float64).to_numpy()
        for name in ("lost_yd", "std_error_yd", "freedom", "own_variance", "own_skewness")
    )
    shots = lost.get_column("shots").to_numpy()
    # What days add and what golfers share are not skewed: the drives' luck takes its share of the whole.
    luck = np.divide(np.sqrt(own), error, out=np.zeros_like(value), where=error > 0)
    skewness = pooled_skewness(each, shots) / np.sqrt(shots) * np.nan_to_num(luck) ** 3
    quantile = t_reach(freedom)
    step = np.divide(value - threshold_yd, error, out=np.full_like(value, np.nan), where=error > 0)
    columns = {
        "lost_lo90_yd": value - error * bent(quantile, skewness),
        "lost_hi90_yd": value - error * bent(-quantile, skewness),
        "p_value": stdtr(freedom, -straightened(step, skewness)),
    }
    return [pl.Series(name, values).fill_nan(None) for name, values in columns.items()]


def _notes(few: pl.Expr, beyond: pl.Expr, rules: FlagRules, *, causes: bool) -> pl.Expr:
    days = (pl.col("exposure") >= EXPOSED_FROM) & ~few & ~beyond
    assumed = f"the logs don't show how much days differ: {rules.day_form_yd:g} yd are assumed in the interval"
    no_ball, no_spin = (pl.col(f"lost_{part}_yd").is_null() & ~beyond & causes for part in ("contact", "spin"))
    notes = [
        pl.when(few).then(pl.format("{} drives, an assessment needs {}", "shots", pl.lit(rules.min_shots))),
        pl.when(beyond).then(pl.lit("the benchmarks don't reach this club speed")),
        pl.when(no_ball).then(pl.lit("ball speed is not known: contact can't be separated from other")),
        pl.when(no_spin).then(pl.lit("spin is guessed, not measured: spin can't be separated from other")),
        pl.when(~few & ~beyond).then(pl.col("uncompared_note")),
        pl.when(days & (pl.col("form_source") == "assumed")).then(pl.lit(assumed)),
        pl.when(days & (pl.col("form_source") == "unknown")).then(
            pl.lit("the logs don't show how much days differ: the interval doesn't cover it")
        ),
    ]
    joined = pl.concat_str(notes, separator="; ", ignore_nulls=True)
    return pl.when(joined != "").then(joined).alias("note")


def form_words(form: DayForm) -> str:
    """Say what a day adds to a golfer's carry, and what tells it."""
    told = f"A day's form moves a golfer's mean by {form.variance**0.5:.1f} yd (standard deviation)"
    words = {
        "days": f"{told}, as golfers' days show.",
        "quarters": f"{told} or less: hardly any golfer has several days in a quarter, so quarters were compared.",
        "assumed": f"{told}: assumed, as no golfer has several days.",
        "unknown": "These logs don't show how much a golfer's days differ: no interval covers it.",
    }
    return words[form.source]
