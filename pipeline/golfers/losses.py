"""Yards lost per golfer and quarter, with parts that add up exactly.

Yards lost = efficient carry at the golfer's club speed - mean carry. The way from one to the other goes through
the golfer's typical drive: contact, launch and spin are what is lost from the efficient drive to the typical one,
consistency from the typical drive to the mean of the expected drives, other is the rest: what the drives did
beside what the model expects of them. The model is of straight drives: what their curve costs is a part of its own
where the spin axis is known, else in other. Of golfers whose spin is guessed, usual spin is expected, and what their
own costs is in other. How well yards lost are known is worked out by `doubt`, from those of each drive.
"""

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.drives import KEYS, MIN_KNOWN_SHARE, Drives, typical_drives, with_spin_unguessed
from pipeline.fit.model import CarryModel, Delivery
from pipeline.golfers.day_form import DayForm, figure_errors
from pipeline.golfers.doubt import with_doubt
from pipeline.golfers.lasting import expected_of_drives, lasting_share, own_difference
from pipeline.golfers.shared_errors import SharedErrors, exposure
from pipeline.statistics.arrays import Array
from pipeline.statistics.shapley import exchange


def losses(drives: pl.DataFrame, model: CarryModel, frontier: Frontier) -> pl.DataFrame:
    """Work out yards lost and their parts.

    Parameters
    ----------
    drives : DataFrame
        Accepted drives, with the columns of `FIT_COLUMNS`.
    model : CarryModel
    frontier : Frontier

    Returns
    -------
    DataFrame
        One row per golfer and quarter, sorted: the delivery, carry_yd, efficient_yd, lost_yd, the parts,
        own_skewness (of a drive's yards lost; null below three drives) and the columns of `exposure`. Where the
        benchmarks don't reach the golfer's speed, what rests on them is null.
    """
    typical = typical_drives(drives, KEYS)
    expected = _of_drives(drives, model, frontier, steady=not _struck_known(typical, model).all())
    per_golfer = typical.join(
        expected.group_by(KEYS).agg(
            pl.col("carry_reference_yd").mean().alias("carry_yd"),
            pl.col("expected_yd").mean(),
            pl.col("steady_yd").mean(),
            pl.when(pl.col("curve_yd").is_not_null().mean() >= MIN_KNOWN_SHARE)
            .then(pl.col("curve_yd").mean())
            .alias("lost_curve_yd"),
            pl.col("lost_yd").skew(bias=False).fill_nan(None).alias("own_skewness"),
        ),
        on=KEYS,
        validate="1:1",
    )
    per_golfer = per_golfer.join(exposure(drives, model), on=KEYS, validate="1:1")
    # In one order before anything is worked out: libraries' sums hang in their last digits on a row's place.
    return _with_parts(per_golfer.sort(KEYS), model, frontier)


def lost_of_drives(drives: pl.DataFrame, model: CarryModel, frontier: Frontier) -> pl.DataFrame:
    """Give each drive's yards lost, against efficient carry at its own club speed.

    A golfer who happened to swing faster carried farther and had farther to go: only the rest is luck. Beyond the
    frontier's ends efficient carry is taken as flat; that only widens the interval.

    Parameters
    ----------
    drives : DataFrame
        As for `losses`.
    model : CarryModel
    frontier : Frontier

    Returns
    -------
    DataFrame
        The drives with `lost_yd`.
    """
    club = drives.get_column("club_speed_mph").cast(pl.Float64).to_numpy()
    lost = frontier.carry_beyond(club) - model.reference_carry(drives)
    return drives.with_columns(pl.Series("lost_yd", lost, pl.Float64))


def _struck_known(golfers: pl.DataFrame, model: CarryModel) -> npt.NDArray[np.bool_]:
    """Say of which typical drives the own strike is known, shape (n,)."""
    ratio = golfers.get_column("speed_ratio").cast(pl.Float64).to_numpy()
    return np.asarray(np.isfinite(ratio) & model.by_ball_speed)


def _of_drives(drives: pl.DataFrame, model: CarryModel, frontier: Frontier, *, steady: bool) -> pl.DataFrame:
    """Give per drive: reference carry, what its curve costs of it, expected carry, steady carry and yards lost.

    Steady carry is expected carry at the better quarter's strike; null unless it is asked for.
    """
    steadied: pl.Series | pl.Expr = pl.lit(None, pl.Float64).alias("steady_yd")
    if steady:
        delivery = model.with_usual(Delivery.of(with_spin_unguessed(drives)))
        steadied = pl.Series("steady_yd", model.expected(_better_struck(model, delivery)))
    return (
        lost_of_drives(model.with_reference(drives), model, frontier)
        .select(*KEYS, "carry_reference_yd", "lost_yd")
        .with_columns(_curves(drives, model), *expected_of_drives(drives, model), steadied)
    )


def _curves(drives: pl.DataFrame, model: CarryModel) -> pl.Series:
    """Give what each drive's curve costs on the reference device and ball, as `curve_yd`; null where not known."""
    if "curve_yd" not in drives.columns:
        return pl.Series("curve_yd", [None] * drives.height, pl.Float64)
    return drives.get_column("curve_yd").cast(pl.Float64) / pl.Series(1 + model.added_share(drives))


def _better_struck(model: CarryModel, delivery: Delivery) -> Delivery:
    """Give the same drives with the speed ratio of the better quarter; nothing else of their better strike."""
    return delivery.struck(model.ratio(delivery, "better"))


def _with_parts(golfers: pl.DataFrame, model: CarryModel, frontier: Frontier) -> pl.DataFrame:
    typical = Delivery.of(golfers)
    measured = np.isfinite(typical.spin_rpm)
    typical = model.with_usual(typical)
    club = typical.club_speed_mph
    known = _struck_known(golfers, model)
    better = model.ratio(typical, "better")
    own = typical.struck(np.where(known, typical.speed_ratio, better))
    best = frontier.best_delivery(club, better)
    efficient = frontier.at("carry_yd", club)

    def carry(ratio: Array, launch: Array, spin: Array) -> Array:
        return model.expected(Delivery(club, ratio, launch, spin))

    inputs = [(one.speed_ratio, one.launch_deg, one.spin_rpm) for one in (best, own)]
    contact, from_launch, from_spin = exchange(carry, *inputs)
    # Without ball speed a golfer's own strike is unknown: consistency is what launch and spin show of it.
    mean = np.where(known, *(golfers.get_column(name).to_numpy() for name in ("expected_yd", "steady_yd")))
    consistency = model.expected(own) - mean
    lost = efficient - golfers.get_column("carry_yd").to_numpy()
    named = np.where(known, contact, 0.0) + from_launch + np.where(measured, from_spin, 0.0) + consistency
    named = named + golfers.get_column("lost_curve_yd").fill_null(0.0).to_numpy()
    columns = {
        "ball_speed_mph": np.where(known, club * typical.speed_ratio, np.nan),
        "efficient_yd": efficient,
        "lost_yd": lost,
        "lost_contact_yd": np.where(known, contact, np.nan),
        "lost_launch_yd": from_launch,
        "lost_spin_yd": np.where(measured, from_spin, np.nan),
        "lost_consistency_yd": np.where(np.isnan(lost), np.nan, consistency),
        "lost_other_yd": lost - named,
    }
    added = golfers.with_columns(pl.Series(name, values).fill_nan(None) for name, values in columns.items())
    out_of_reach = pl.col("lost_yd").is_null()
    parts = pl.col("lost_contact_yd", "lost_launch_yd", "lost_spin_yd", "lost_curve_yd")
    return added.with_columns(pl.when(~out_of_reach).then(parts))


def known_losses(
    drives: pl.DataFrame | Drives, model: CarryModel, shared: SharedErrors, day_form_yd: float
) -> tuple[pl.DataFrame, DayForm]:
    """Work out yards lost with how well they are known.

    Parameters
    ----------
    drives : DataFrame or Drives
        As for `losses`, with struck_on; with carry_measured_yd too where moves are in doubt (`moved_share`).
    model : CarryModel
    shared : SharedErrors
        Of the frontier that yards lost go by.
    day_form_yd : float
        Standard deviation of a day's form to go by as far as these drives don't tell it.

    Returns
    -------
    lost : DataFrame
        What `losses` gives with what `with_doubt` adds, own_difference_yd, and form_source, a `Source`.
    form : DayForm
        Of a drive's yards lost.
    """
    frontier = shared.frontier
    # Looked up once for both that go by it, the parts of yards lost and golfers' lasting differences.
    every = Drives.of(drives).with_once(lambda frame: expected_of_drives(frame, model))
    lost = every.gathered(lambda frame: losses(frame, model, frontier))
    lost = shared.with_loads(lost, every, model)
    # Numbers for the names, whose letters would take most of a large study's memory.
    quarter = pl.col("quarter").cast(pl.Enum(lost.get_column("quarter").unique().sort()))
    wanted = ["golfer", quarter, "struck_on", "lost_yd"]
    pieces = list(every.each(lambda frame: lost_of_drives(frame, model, frontier).select(wanted)))
    errors, form = figure_errors(Drives(pieces.__iter__), "lost_yd", median=False, assumed=day_form_yd)
    known = with_doubt(lost, errors, shared.of_figure(shared.quarters(lost)))
    own = own_difference(known, lasting_share(every, model))
    return known.with_columns(own, pl.lit(form.source).alias("form_source")), form
