"""The table of straightness: who can be assessed, figures, and what changed since the quarter before."""

import polars as pl

from pipeline.coach.straightness.figures import MEAN, SPREAD, figures_of
from pipeline.coach.straightness.offline import SideFlight, beside_columns, landings_of
from pipeline.coach.straightness.other_flights import flight_error
from pipeline.drives import KEYS, MIN_KNOWN_SHARE, Drives
from pipeline.golfers.day_form import EXPOSED_FROM, DayForm
from pipeline.golfers.doubt import OWN, Doubt, of_change
from pipeline.statistics.intervals import Estimate
from pipeline.tables.straightness import ASSESSED, NOT_ASSESSED, Straightness
from pipeline.tables.types import types_of

CHANGES = (MEAN, SPREAD)
BEFORE = "_before"


def landed(drives: Drives, flight: SideFlight) -> tuple[Drives, pl.DataFrame]:
    """Read where drives came down, and count them.

    Parameters
    ----------
    drives : Drives
        `pipeline.coach.straightness.offline.COLUMNS` of all accepted drives.
    flight : SideFlight

    Returns
    -------
    landings : Drives
        From `landings_of`, those with a known offline alone: golfer, quarter, struck_on, offline_yd, carry_yd.
    counts : DataFrame
        One row per golfer and quarter, sorted: shots, known, calculated, club_speed_mph, the mean of all
        drives, cross_wind_yd, the mean of what was taken out for it, null where it is known of no drive, and the
        means of `beside_columns` over the drives with a known offline.
    """
    known = pl.col("offline_yd").is_not_null()
    named = {"shots": pl.len(), "known": known.sum(), "calculated": pl.col("calculated").sum()}
    each = [count.cast(pl.Int64).alias(name) for name, count in named.items()]

    def read(frame: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
        there = landings_of(frame, flight)
        means = pl.col("club_speed_mph").mean(), pl.col("blown_yd").mean().alias("cross_wind_yd")
        beside = pl.col(beside_columns(len(flight.others))).filter(known).mean()
        counts = there.group_by(KEYS).agg(*each, *means, beside)
        return there.filter(known).select(*KEYS, "struck_on", "offline_yd", "carry_yd"), counts

    pieces = list(drives.each(read))
    frames = [frame for frame, _ in pieces]
    return Drives(frames.__iter__), pl.concat([counts for _, counts in pieces]).sort(KEYS)


def straightness_of(landings: Drives, counts: pl.DataFrame, min_shots: int, corridor_yd: float) -> pl.DataFrame:
    """Build the table `Straightness`.

    Parameters
    ----------
    landings : Drives
    counts : DataFrame
        Both from `landed`.
    min_shots : int
        Drives in the quarter that an assessment needs; offline must be known for half of them.
    corridor_yd : float
        Full width of the corridor.

    Returns
    -------
    DataFrame
        One row for each golfer and quarter with a drive; none where no drive has an offline.
    """
    kinds = types_of(Straightness) | {"golfer": counts.schema["golfer"]}
    if not counts.get_column("known").sum():
        return pl.DataFrame(schema=kinds)
    few = pl.col("shots") < min_shots
    unknown = pl.col("known") < MIN_KNOWN_SHARE * pl.col("shots")
    counts = counts.with_columns(
        pl.when(few | unknown).then(pl.lit(NOT_ASSESSED)).otherwise(pl.lit(ASSESSED)).alias("status"),
        pl.lit(float(corridor_yd)).alias("corridor_yd"),
        pl.when(few)
        .then(pl.lit(f"fewer than {min_shots} drives"))
        .when(unknown)
        .then(pl.lit("offline is known for less than half of the drives"))
        .alias("note"),
    )
    found, form = figures_of(_assessed_of(landings, counts), corridor_yd, counts)
    quarter = counts.with_columns(pl.col("quarter").cast(pl.String))
    table = quarter.join(found.drop("known"), on=KEYS, how="left", maintain_order="left", validate="1:1")
    changes = _changes(table.filter(pl.col("status") == ASSESSED))
    table = table.join(changes, on=KEYS, how="left", maintain_order="left", validate="1:1")
    return table.with_columns(_note(form)).select(pl.col(name).cast(kind) for name, kind in kinds.items()).sort(KEYS)


def _assessed_of(landings: Drives, counts: pl.DataFrame) -> Drives:
    """Keep the drives of golfers' quarters that are assessed."""
    kept = counts.filter(pl.col("status") == ASSESSED).select(KEYS)
    return landings.mapped(lambda frame: frame.join(kept, on=KEYS, how="semi", maintain_order="left"))


def _changes(table: pl.DataFrame) -> pl.DataFrame:
    """Compare each assessed quarter with the golfer's last one before it, as `progress_of` compares other figures."""
    carried = [name for name in table.columns if name not in KEYS]
    before = [pl.col(name).shift(1).over("golfer").alias(f"{name}{BEFORE}") for name in carried]
    since = pl.col("quarter").shift(1).over("golfer").alias("since")
    both = table.sort(KEYS).with_columns(since, *before).filter(pl.col("since").is_not_null())
    columns = []
    for name in CHANGES:
        now, then = (both.get_column(f"{name}_yd{end}").cast(pl.Float64).to_numpy() for end in ("", BEFORE))
        shared = [flight_error(both, BEFORE)] if name == MEAN else []
        error = of_change(Doubt.of(both, name), Doubt.of(both, name, BEFORE), *shared)
        change = Estimate(now - then, *error)
        values = (change.value, *change.edges90, change.p_value)
        names = (*(f"{name}_change{edge}_yd" for edge in ("", "_lo90", "_hi90")), f"{name}_p_value")
        columns += [pl.Series(one, part, pl.Float64).fill_nan(None) for one, part in zip(names, values, strict=True)]
    return both.select(*KEYS, "since", *columns)


def _note(form: DayForm) -> pl.Expr:
    """Say what is a reason for doubt besides the counts' own note."""
    exposed = pl.col(f"{MEAN}_{OWN[2]}") >= EXPOSED_FROM
    notes = [
        pl.col("note"),
        pl.when(exposed & (form.source == "quarters")).then(
            pl.lit("golfers were watched on one day a quarter: what moved for many at once counts as a day's form")
        ),
        pl.when(exposed & (not form.told)).then(
            pl.lit("these logs don't show how much days differ: the intervals don't cover a day's form")
        ),
        pl.when((pl.col("status") == ASSESSED) & pl.col("offline_sd_yd").is_null()).then(
            pl.lit("all drives have the same offline, so no spread or interval can be given")
        ),
        pl.when((pl.col("status") == ASSESSED) & (2 * pl.col("calculated") > pl.col("known"))).then(
            pl.lit("most offlines are calculated from start direction and spin axis")
        ),
    ]
    joined = pl.concat_str(notes, separator="; ", ignore_nulls=True)
    return pl.when(joined != "").then(joined).alias("note")
