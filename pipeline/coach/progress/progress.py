"""What changed for each golfer between quarters, in speed, strike, delivery and yards, and how much of it is real.

Each assessed quarter is compared with the golfer's last assessed one before it. Every change has an interval with all
of the figure's doubt (`pipeline.golfers.doubt`) and a verdict at a controlled false discovery rate; that of yards lost
is the one of changes.csv. The carry gained is shared out among speed, delivery and other, which add up to it.
"""

from dataclasses import replace

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
    drive_values,
    halfway,
    of_quarters,
    share_out,
    typical_of,
)
from pipeline.drives import KEYS, Drives
from pipeline.fit.model import CarryModel, Delivery
from pipeline.golfers.day_form import EXPOSED_FROM, DayForm, figure_errors
from pipeline.golfers.doubt import OWN, Doubt, Part, of_change
from pipeline.golfers.quarter_changes import PART_OF_RATE
from pipeline.golfers.shared_errors import SharedErrors, exposure
from pipeline.statistics.arrays import Array
from pipeline.statistics.false_discovery import adjusted_families
from pipeline.statistics.intervals import Estimate
from pipeline.tables.progress import NO_CHANGE, Progress
from pipeline.tables.straightness import Straightness

# What is needed of the table `Golfers`, whose other columns would double a large study's memory.
GOLFER_COLUMNS = (
    *KEYS,
    "status",
    "shots",
    "club_speed_mph",
    "ball_speed_mph",
    "launch_deg",
    "spin_rpm",
    "carry_yd",
    "lost_yd",
)


def progress_of(
    drives: pl.DataFrame | Drives,
    golfers: pl.DataFrame,
    changes: pl.DataFrame,
    yardstick: Yardstick,
    shared: SharedErrors,
    false_discovery_rate: float,
    straightness: pl.DataFrame | None = None,
) -> tuple[pl.DataFrame, dict[str, DayForm]]:
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
    form : dict of str to DayForm
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
    assessed = golfers.filter(pl.col("status") != "not_assessed").with_columns(
        (pl.col("ball_speed_mph") / pl.col("club_speed_mph")).alias("speed_ratio")
    )
    slope = yardstick.model.per_mph(yardstick.model.with_usual(Delivery.of(assessed)))
    slopes = assessed.select(*KEYS, pl.Series("slope", slope, dtype=pl.Float64))
    read = Drives.of(drives).mapped(yardstick.model.with_reference)
    # Numbers for the names, whose letters would take most of a large study's memory.
    quarter = pl.col("quarter").cast(pl.Enum(golfers.get_column("quarter").unique().sort()))

    def values(frame: pl.DataFrame, *names: str) -> pl.DataFrame:
        return drive_values(frame.join(slopes, on=KEYS, maintain_order="left"), yardstick, names)

    expected = read.gathered(lambda frame: of_quarters(values(frame, "expected_yd", "usual_yd")))
    offsets = read.gathered(lambda frame: exposure(frame, yardstick.model))
    table, form = assessed.join(expected, on=KEYS, how="left").join(offsets, on=KEYS, how="left"), {}
    table = shared.with_loads(table, read, yardstick.model)
    for measure in (*TESTED, *DELIVERIES):
        # One measure after the other: the spread of days needs all golfers at once.
        column = measure.column
        wanted = ["golfer", quarter, "struck_on", column]
        pieces = list(read.each(lambda frame: values(frame, column).select(wanted)))  # noqa: B023
        own = Drives(pieces.__iter__)
        errors, form[measure.name] = figure_errors(own, column, median=measure.median, size=measure.size)
        if measure.name == "club_speed":
            table = table.join(errors.select(*KEYS, "days"), on=KEYS, how="left")
        named = {name: f"{measure.name}_{name}" for name in OWN}
        table = table.join(errors.select(*KEYS, *named).rename(named), on=KEYS, how="left")
    both = _paired(table.sort(KEYS)).join(_lost(changes), on=[*KEYS, "since"], how="left", maintain_order="left")
    pair = (shared.quarters(both), shared.quarters(both, "_before"))
    for measure in TESTED:
        of_devices = [shared.of_carry_change(*pair)] if measure.name == "carry" else []
        both = both.with_columns(_tested(both, measure, *of_devices))
    both = both.join(_straight(straightness, both), on=[*KEYS, "since"], how="left", maintain_order="left")
    # A study that knows no offline has no such tests, and so no fewer findings among the others.
    known = both.select(pl.any_horizontal(pl.col(f"{one.name}_p_value").is_not_null().any() for one in STRAIGHT)).item()
    tested = (*TESTED, *STRAIGHT) if known else TESTED
    p_values = [both.get_column(f"{measure.name}_p_value") for measure in tested]
    rest = 1 - PART_OF_RATE
    q_values = adjusted_families(p_values, both.get_column("quarter"), false_discovery_rate, rest)
    for measure, q_value in zip(tested, q_values, strict=True):
        both = both.with_columns(q_value.alias(f"{measure.name}_q_value"))
        both = both.with_columns(_verdict(both, measure, yardstick, false_discovery_rate))
    both = both.with_columns(_parts(both, yardstick.model)).with_columns(_notes(form))
    extra = [f"{measure.name}_std_error" for measure in MEASURES]
    extra += ["carry_from_speed_std_error", "carry_from_delivery_std_error", "lost_shared_variance"]
    return both.select(*Progress.column_names(), *extra), form


def _paired(table: pl.DataFrame) -> pl.DataFrame:
    """Put each quarter beside the golfer's last one before it (columns `*_before`)."""
    carried = [name for name in table.columns if name not in KEYS]
    before = [pl.col(name).shift(1).over("golfer").alias(f"{name}_before") for name in carried]
    since = pl.col("quarter").shift(1).over("golfer").alias("since")
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
    """Take the changes of offline as the step of straightness has tested them, q values and verdicts to be filled."""
    table = Straightness.create_empty().cast(both.select("golfer").schema) if straightness is None else straightness
    columns: list[pl.Expr] = []
    for measure in STRAIGHT:
        before = pl.col(measure.column) - pl.col(measure.change())
        columns += [pl.col(measure.column), before.alias(f"{measure.column}_before")]
        columns += [pl.col(measure.change(edge)) for edge in ("", "lo90", "hi90")]
        columns += [pl.col(f"{measure.name}_p_value")]
        columns += [
            pl.lit(None, pl.Float64).alias(f"{measure.name}_q_value"),
            pl.lit(None, Progress.lost_verdict.dtype).alias(f"{measure.name}_verdict"),
        ]
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


def _verdict(both: pl.DataFrame, measure: Measure, yardstick: Yardstick, rate: float) -> pl.Expr:
    """Say better, worse, changed or that no change is clear; null where there is no test."""
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
    q_value = pl.col(f"{measure.name}_q_value")
    word = pl.when(better).then(pl.lit("better")).when(worse).then(pl.lit("worse")).otherwise(pl.lit("changed"))
    told = pl.when(q_value <= rate).then(word).when(q_value.is_not_null()).then(pl.lit(NO_CHANGE))
    return told.cast(Progress.club_speed_verdict.dtype).alias(f"{measure.name}_verdict")


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


def _notes(form: dict[str, DayForm]) -> list[pl.Expr]:
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
