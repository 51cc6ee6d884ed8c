"""What changed for each golfer between quarters, in speed, strike, delivery and yards, and how much of it is real.

Each assessed quarter is compared with the golfer's last assessed one before it. Every change has an interval with all
of the figure's doubt (`pipeline.golfers.doubt`) and a verdict at a controlled false discovery rate; that of yards lost
is the one of changes.csv. The carry gained is shared out among speed, delivery and other, which add up to it.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.coach.progress.measures import (
    DELIVERIES,
    LOST,
    MEASURES,
    STRAIGHT,
    TESTED,
    Measure,
    Yardstick,
    halfway,
    share_out,
    typical_of,
)
from pipeline.coach.progress.quarter_sums import (
    BLOCK,
    FIGURES,
    PooledQuarters,
    QuarterSums,
    pool_quarters,
    quarter_sums,
    size_of,
)
from pipeline.drives import KEYS, Drives
from pipeline.fit.model import CarryModel, Delivery
from pipeline.golfers.day_form import EXPOSED_FROM, Source, errors_of, shows_days
from pipeline.golfers.doubt import OWN, Doubt, Part, of_change
from pipeline.golfers.moves import MOVED, moved_by
from pipeline.golfers.quarter_changes import PART_OF_RATE
from pipeline.golfers.shared_errors import SharedErrors
from pipeline.statistics.arrays import Array
from pipeline.statistics.false_discovery import adjusted_families
from pipeline.statistics.intervals import Estimate
from pipeline.tables.progress import NO_CHANGE, Progress
from pipeline.tables.straightness import Straightness

P_VALUES = [f"{measure.name}_p_value" for measure in (*TESTED, *STRAIGHT)]


@dataclass(frozen=True)
class PooledForm:
    """What a day adds to golfers' drives: variance, in squared units of the measure, and what tells it."""

    variance: float
    source: Source

    @property
    def told(self) -> bool:
        """Whether the logs show how a golfer's days differ."""
        return shows_days(self.source)


def progress_of(
    drives: pl.DataFrame | Drives,
    golfers: pl.DataFrame,
    changes: pl.DataFrame,
    yardstick: Yardstick,
    shared: SharedErrors,
    false_discovery_rate: float,
    straightness: pl.DataFrame | None = None,
) -> tuple[pl.DataFrame, dict[str, PooledForm]]:
    """Compare each golfer's assessed quarters.

    Parameters
    ----------
    drives : DataFrame or Drives
        All accepted drives: the columns of `FIT_COLUMNS` and struck_on; with carry_measured_yd too where moves are in
        doubt (`Frontier.moved_share`).
    golfers : DataFrame
        `GOLFER_COLUMNS` of the table `Golfers` of these drives.
    changes : DataFrame
        The table `Changes` of these golfers.
    yardstick : Yardstick
    shared : SharedErrors
        Of the same model and frontier.
    false_discovery_rate : float
    straightness : DataFrame, optional
        The table `Straightness` of these drives; without one, or without rows in it, nothing is said of offline.

    Returns
    -------
    progress : DataFrame
        The columns of `Progress`, sorted by golfer and quarter, with the standard errors `<measure>_std_error` and
        what of the squared one of yards lost is shared by golfers, lost_shared_variance. Empty where nobody has two
        assessed quarters.
    form : dict of str to PooledForm
        What a day adds to a golfer's drives, by measure but yards lost.

    Notes
    -----
    Degrees of freedom are Welch's and Satterthwaite's; the p-values of each measure are adjusted by Benjamini and
    Hochberg over the golfers of a quarter. Yards lost have half of the rate and the other measures share the other half
    (`adjusted_families`), so that of those named no more than the rate are named wrongly, and where nothing changed
    nobody is, nine times in ten.
    All measures in one family would leave that open: where many gain speed, its small p-values would let spins pass
    that chance alone moved. What a device adds to carry is as unsure as the model knows it, where the
    device changed, and what another air adds as unsure as coefficient sets differ. Not in the intervals: the fitted
    model's other errors, and what a moved device adds to all drives of a quarter.
    """
    sums = quarter_sums(drives, golfers, yardstick, shared)
    pooled = pool_quarters(sums, yardstick)
    both = compared(sums, pooled, changes, yardstick, shared, straightness)
    return judged(both, false_discovery_rate), form_of(pooled)


def form_of(pooled: PooledQuarters) -> dict[str, PooledForm]:
    """Give what a day adds to golfers' drives, by measure."""
    return {name: PooledForm(size_of(name) ** 2 * one.variance, one.source) for name, one in pooled.figures.items()}


def compared(
    sums: QuarterSums,
    pooled: PooledQuarters,
    changes: pl.DataFrame,
    yardstick: Yardstick,
    shared: SharedErrors,
    straightness: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """Compare golfers' quarters, each golfer's without a look at another.

    Parameters
    ----------
    sums : QuarterSums
        Of some golfers or of all.
    pooled : PooledQuarters
        Of all golfers.
    changes, yardstick, shared, straightness
        As for `progress_of`.

    Returns
    -------
    DataFrame
        What `progress_of` gives, but for q values and verdicts: `<measure>_word` has the verdict that a change gets if
        it is one. And group, as `quarter_sums` gives it.
    """
    table = sums.table
    for name, figure in FIGURES.items():
        errors, _ = errors_of(sums.figures, figure, pooled.figures[name], size_of(name))
        if name == "club_speed":
            table = table.join(errors.select(*KEYS, "days"), on=KEYS, how="left", maintain_order="left")
        named = {one: f"{name}_{one}" for one in OWN}
        table = table.join(errors.select(*KEYS, *named).rename(named), on=KEYS, how="left", maintain_order="left")
    table = table.with_columns(pl.lit(0.0).alias(MOVED))
    if sums.moves is not None:
        moved = moved_by(sums.moves, pooled.common_moves, yardstick.model)
        table = table.drop(MOVED).join(moved, on=KEYS, how="left", maintain_order="left")
    both = _paired(table).join(_lost(changes), on=[*KEYS, "since"], how="left", maintain_order="left")
    both = both.join(_straight(straightness, both), on=[*KEYS, "since"], how="left", maintain_order="left")
    form = form_of(pooled)
    blocks = both.partition_by(BLOCK, maintain_order=True) or [both]
    return pl.concat([_of_block(block, form, yardstick, shared) for block in blocks], rechunk=True)


def _of_block(
    both: pl.DataFrame, form: dict[str, PooledForm], yardstick: Yardstick, shared: SharedErrors
) -> pl.DataFrame:
    pair = (shared.quarters(both), shared.quarters(both, "_before"))
    for measure in TESTED:
        of_devices = [shared.of_carry_change(*pair)] if measure.name == "carry" else []
        both = both.with_columns(_tested(both, measure, *of_devices))
    both = both.with_columns(_word(both, measure, yardstick) for measure in (*TESTED, *STRAIGHT))
    both = both.with_columns(_parts(both, yardstick.model)).with_columns(_notes(form))
    judging = {f"{one.name}_{end}" for one in (*TESTED, *STRAIGHT) for end in ("q_value", "verdict")}
    extra = [f"{measure.name}_std_error" for measure in MEASURES]
    extra += ["carry_from_speed_std_error", "carry_from_delivery_std_error", "lost_shared_variance"]
    words = [f"{one.name}_word" for one in (*TESTED, *STRAIGHT)]
    group = ["group"] if "group" in both.columns else []
    return both.select(*(name for name in Progress.column_names() if name not in judging), *extra, *words, *group)


def judged(both: pl.DataFrame, false_discovery_rate: float) -> pl.DataFrame:
    """Give the changes of all golfers, from `compared`, their q values and verdicts."""
    return with_verdicts(both, q_values_of(both, false_discovery_rate), false_discovery_rate)


def q_values_of(both: pl.DataFrame, false_discovery_rate: float) -> pl.DataFrame:
    """Adjust the p-values of all golfers, a row for each in their order.

    Parameters
    ----------
    both : DataFrame
        quarter and `P_VALUES`.
    false_discovery_rate : float
    """
    # A study that knows no offline has no such tests, and so no fewer findings among the others.
    known = both.select(pl.any_horizontal(pl.col(f"{one.name}_p_value").is_not_null().any() for one in STRAIGHT)).item()
    tested = (*TESTED, *STRAIGHT) if known else TESTED
    p_values = [both.get_column(f"{measure.name}_p_value") for measure in tested]
    quarter = both.get_column("quarter").rank("dense")  # comparing numbers is many times quicker than words
    found = adjusted_families(p_values, quarter, false_discovery_rate, 1 - PART_OF_RATE)
    named = {f"{measure.name}_q_value": values for measure, values in zip(tested, found, strict=True)}
    none = pl.Series([None] * both.height, dtype=pl.Float64)
    names = (f"{measure.name}_q_value" for measure in (*TESTED, *STRAIGHT))
    return pl.DataFrame({name: named.get(name, none) for name in names})


def with_verdicts(both: pl.DataFrame, q_values: pl.DataFrame, false_discovery_rate: float) -> pl.DataFrame:
    """Give some golfers' changes their q values and verdicts, in the order of the table's columns."""
    told = both.with_columns(q_values.get_columns()).with_columns(
        _verdict(measure, false_discovery_rate) for measure in (*TESTED, *STRAIGHT)
    )
    words = [f"{one.name}_word" for one in (*TESTED, *STRAIGHT)]
    rest = [name for name in both.columns if name not in words and name not in Progress.column_names()]
    return told.select(*Progress.column_names(), *rest)


def _paired(table: pl.DataFrame) -> pl.DataFrame:
    """Put each quarter beside the golfer's last one before it (columns `*_before`); the table is sorted by `KEYS`."""
    carried = [name for name in table.columns if name not in KEYS]
    # The row before is the golfer's own wherever it counts, so that a hundred columns needn't be grouped by golfer.
    before = [pl.col(name).shift(1).alias(f"{name}_before") for name in carried]
    same = pl.col("golfer") == pl.col("golfer").shift(1)
    since = pl.when(same).then(pl.col("quarter").shift(1)).alias("since")
    return table.with_columns(since, *before).filter(pl.col("since").is_not_null())


def _lost(changes: pl.DataFrame) -> pl.DataFrame:
    """Take the changes of yards lost as the golfers' step has tested them."""
    gain = pl.when(pl.col("lost_change_yd") < 0).then(pl.lit("better")).otherwise(pl.lit("worse"))
    more = pl.col("more_than_chance")
    verdict = pl.when(more).then(gain).when(more.is_not_null()).then(pl.lit(NO_CHANGE))
    return changes.filter(pl.col("lost_change_yd").is_not_null()).select(
        *KEYS,
        "since",
        *(LOST.change(edge) for edge in ("", "lo90", "hi90")),
        pl.col("p_value").alias("lost_p_value"),
        pl.col("q_value").alias("lost_q_value"),
        verdict.cast(Progress.lost_verdict.dtype).alias("lost_verdict"),
        pl.col("lost_change_std_error_yd").alias("lost_std_error"),
        (pl.col("lost_change_shared_error_yd") ** 2).alias("lost_shared_variance"),
    )


def _straight(straightness: pl.DataFrame | None, both: pl.DataFrame) -> pl.DataFrame:
    """Take the changes of offline as the step of straightness has tested them."""
    table = Straightness.create_empty().cast(both.select("golfer").schema) if straightness is None else straightness
    columns: list[pl.Expr] = []
    for measure in STRAIGHT:
        before = pl.col(measure.column) - pl.col(measure.change())
        columns += [pl.col(measure.column), before.alias(f"{measure.column}_before")]
        columns += [pl.col(measure.change(edge)) for edge in ("", "lo90", "hi90")]
        columns += [pl.col(f"{measure.name}_p_value")]
    return table.filter(pl.col("since").is_not_null()).select(*KEYS, "since", *columns)


def _error(both: pl.DataFrame, measure: Measure, *shared: Part) -> Part:
    """Give the standard error of a measure's change and its degrees of freedom; NaN where there is none to be had."""
    return of_change(Doubt.of(both, measure.name), Doubt.of(both, measure.name, "_before"), *shared)


def _tested(both: pl.DataFrame, measure: Measure, *shared: Part) -> list[pl.Series]:
    """Change of a measure with interval, standard error and two-sided p-value; null where it can't be told."""
    now, then = (both.get_column(f"{measure.column}{end}").cast(pl.Float64).to_numpy() for end in ("", "_before"))
    change = Estimate(now - then, *_error(both, measure, *shared))
    columns = _interval(change, [measure.change(edge) for edge in ("", "lo90", "hi90")])
    columns |= {f"{measure.name}_std_error": change.std_error, f"{measure.name}_p_value": change.p_value}
    return _series(columns)


def _interval(estimate: Estimate, names: list[str]) -> dict[str, Array]:
    return dict(zip(names, (estimate.value, *estimate.edges90), strict=True))


def _series(columns: dict[str, Array]) -> list[pl.Series]:
    return [pl.Series(name, values, dtype=pl.Float64).fill_nan(None) for name, values in columns.items()]


def _word(both: pl.DataFrame, measure: Measure, yardstick: Yardstick) -> pl.Expr:
    """Say of each change whether it is for the better or the worse, or neither, if it is one."""
    change, reach = pl.col(measure.change()), pl.col(measure.change("hi90")) - pl.col(measure.change())
    if measure.better:
        gain = change * measure.better
        better, worse = gain > 0, gain < 0
    else:
        # A real change is better only if the way to the efficient window, or line, got shorter by more than chance too.
        ways = (
            yardstick.outside(
                measure, *(both.get_column(f"{c}{end}").to_numpy() for c in (measure.column, "club_speed_mph"))
            )
            for end in ("", "_before")
        )
        now, then = (pl.lit(pl.Series(way, dtype=pl.Float64)).fill_nan(None) for way in ways)
        better, worse = ((then - now) > reach).fill_null(False), ((now - then) > reach).fill_null(False)
    word = pl.when(better).then(pl.lit("better")).when(worse).then(pl.lit("worse")).otherwise(pl.lit("changed"))
    return word.cast(Progress.club_speed_verdict.dtype).alias(f"{measure.name}_word")


def _verdict(measure: Measure, rate: float) -> pl.Expr:
    """Say better, worse, changed or that no change is clear; null where there is no test."""
    q_value, word = pl.col(f"{measure.name}_q_value"), pl.col(f"{measure.name}_word")
    none = pl.lit(NO_CHANGE, dtype=Progress.club_speed_verdict.dtype)
    told = pl.when(q_value <= rate).then(word).when(q_value.is_not_null()).then(none)
    return told.alias(f"{measure.name}_verdict")


def _parts(both: pl.DataFrame, model: CarryModel) -> list[pl.Series]:
    """Share the change in carry out among speed, delivery and other (Shapley), with intervals for the first two.

    Contact, launch, spin and consistency together are the change of the mean expected carry less the part of speed, so
    that their error is that of a mean over drives.
    """
    known = both.select(pl.all_horizontal(pl.col("speed_ratio", "speed_ratio_before").is_not_null())).to_series()
    struck = known.to_numpy()
    measured = both.select(pl.all_horizontal(pl.col("spin_rpm", "spin_rpm_before").is_not_null())).to_series()
    spun = measured.to_numpy()
    now, then = _with_one_spin(typical_of(both, struck), typical_of(both, struck, "_before"), spun, model)
    speed, contact, launch, spin = share_out(model, now, then)
    mean, mean_before = (
        np.where(struck, *(both.get_column(f"{c}{end}").to_numpy() for c in ("expected_yd", "usual_yd")))
        for end in ("", "_before")
    )
    consistency = (mean - model.expected(now)) - (mean_before - model.expected(then))
    delivery = contact + launch + spin + consistency
    change = both.get_column("carry_change_yd").to_numpy()
    club_error, speed_freedom = _error(both, MEASURES[0])
    speed_error = np.abs(model.per_mph(halfway(now, then))) * club_error
    each = [_error(both, measure) for measure in DELIVERIES]
    error, freedom = (np.where(struck, *pair) for pair in zip(*each, strict=True))
    columns = _interval(Estimate(speed, speed_error, speed_freedom), _part_names("speed"))
    columns |= _interval(Estimate(delivery, error, freedom), _part_names("delivery"))
    columns |= {
        "carry_from_contact_yd": np.where(struck, contact, np.nan),
        "carry_from_launch_yd": launch,
        "carry_from_spin_yd": np.where(spun, spin, np.nan),
        "carry_from_consistency_yd": consistency,
        "carry_from_other_yd": change - speed - delivery,
        "carry_from_speed_std_error": speed_error,
        "carry_from_delivery_std_error": error,
    }
    return _series(columns)


def _with_one_spin(
    now: Delivery, then: Delivery, spun: npt.NDArray[np.bool_], model: CarryModel
) -> tuple[Delivery, Delivery]:
    """Let one usual spin stand in on both sides where it isn't measured on both: no part of the change is spin's."""
    usual = model.usual_at((now.club_speed_mph + then.club_speed_mph) / 2).spin_rpm
    return tuple(replace(one, spin_rpm=np.where(spun, one.spin_rpm, usual)) for one in (now, then))  # type: ignore[return-value]


def _part_names(part: str) -> list[str]:
    return [f"carry_from_{part}{edge}_yd" for edge in ("", "_lo90", "_hi90")]


def _notes(form: dict[str, PooledForm]) -> list[pl.Expr]:
    """Say what is a reason for doubt: another device or ball, a form that can't be told, an unknown strike."""
    moved = {name: pl.col(name) != pl.col(f"{name}_before") for name in ("device", "ball")}
    exposed = pl.max_horizontal("club_speed_exposure", "club_speed_exposure_before") >= EXPOSED_FROM
    unknown = pl.any_horizontal(pl.col("speed_ratio", "speed_ratio_before").is_null())
    unspun = pl.any_horizontal(pl.col("spin_rpm", "spin_rpm_before").is_null())
    notes = [
        pl.when(moved["device"]).then(pl.lit("another device than before: a part of any change may be the device's")),
        pl.when(moved["ball"]).then(pl.lit("another ball than before: a part of any change may be the ball's")),
        pl.when(exposed & (form["carry"].source == "quarters")).then(
            pl.lit("golfers were watched on one day a quarter: what moved for many at once counts as a day's form")
        ),
        pl.when(exposed & (not form["carry"].told)).then(
            pl.lit("these logs don't show how much days differ: the intervals don't cover a day's form")
        ),
        pl.when(unknown).then(pl.lit("ball speed isn't known in both quarters: contact can't be separated from other")),
        pl.when(unspun).then(pl.lit("spin isn't measured in both quarters: it can't be separated from other")),
    ]
    joined = pl.concat_str(notes, separator="; ", ignore_nulls=True)
    note = pl.when(joined != "").then(joined).alias("note")
    return [note, *(changed.alias(f"{name}_changed") for name, changed in moved.items())]
