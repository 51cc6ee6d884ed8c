"""What golfers' drives give of each assessed quarter, block by block, before a golfer is seen beside others.

A block is a piece of `Drives`: some golfers, whole. Blocks don't depend on how a study is cut into jobs, and all that
is worked out of a block is worked out of it alone: libraries' sums hang in their last digits on a row's place.
"""

from dataclasses import dataclass

import polars as pl

from pipeline.coach.progress.cohorts import groups_of
from pipeline.coach.progress.measures import DELIVERIES, TESTED, Yardstick, drive_values, of_quarters
from pipeline.drives import KEYS, Drives
from pipeline.fit.model import Delivery
from pipeline.golfers.day_form import Figure, FigureSums, Pooled, figure_sums, pool
from pipeline.golfers.moves import common_moves, move_sums
from pipeline.golfers.reading_doubt import with_readings
from pipeline.golfers.shared_errors import SharedErrors, exposure

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
FIGURES = {measure.name: Figure(measure.column, measure.median) for measure in (*TESTED, *DELIVERIES)}
BLOCK = "block"


def size_of(name: str) -> float:
    """Give the size by which a measure's figures are divided, so that all are of the order of one."""
    return next(measure.size for measure in (*TESTED, *DELIVERIES) if measure.name == name)


@dataclass(frozen=True)
class QuarterSums:
    """Of some golfers, or of all; see `quarter_sums`.

    Attributes
    ----------
    table : DataFrame
        One row per golfer and assessed quarter, sorted: `GOLFER_COLUMNS`, speed_ratio, what `of_quarters`, `exposure`
        and `with_readings` give, group, and the block's number.
    figures : FigureSums
        Of `FIGURES`, in units of a measure's size.
    moves : DataFrame or None
        From `move_sums`; None where no move is in doubt.
    """

    table: pl.DataFrame
    figures: FigureSums
    moves: pl.DataFrame | None


@dataclass(frozen=True)
class PooledQuarters:
    """What all golfers together tell: all that the comparison of one golfer's quarters needs of the others.

    Attributes
    ----------
    figures : dict of str to Pooled
        By measure.
    common_moves : dict of str to float
        From `common_moves`; empty where no move is in doubt.
    """

    figures: dict[str, Pooled]
    common_moves: dict[str, float]


def quarter_sums(
    drives: pl.DataFrame | Drives, golfers: pl.DataFrame, yardstick: Yardstick, shared: SharedErrors, first: int = 0
) -> QuarterSums:
    """Sum up golfers' drives, block by block.

    Parameters
    ----------
    drives, golfers, yardstick, shared
        As for `progress_of`, of some golfers or of all.
    first : int
        Number of the first block.
    """
    assessed = golfers.filter(pl.col("status") != "not_assessed").select(
        *GOLFER_COLUMNS, (pl.col("ball_speed_mph") / pl.col("club_speed_mph")).alias("speed_ratio")
    )
    # Numbers for the names, whose letters would take most of a large study's memory.
    quarter = pl.col("quarter").cast(pl.Enum(golfers.get_column("quarter").unique().sort()))
    read = Drives.of(drives).mapped(yardstick.model.with_reference)
    moving = shared.frontier.moved_share != 0

    def of_block(frame: pl.DataFrame) -> tuple[pl.DataFrame, FigureSums, pl.DataFrame | None]:
        own = assessed.join(frame.select("golfer").unique(), on="golfer", how="semi", maintain_order="left").sort(KEYS)
        slope = yardstick.model.per_mph(yardstick.model.with_usual(Delivery.of(own)))
        slopes = own.select(*KEYS, pl.Series("slope", slope, dtype=pl.Float64))
        # The drives of quarters that weren't assessed are left out here.
        values = drive_values(frame.join(slopes, on=KEYS, how="inner", maintain_order="left"), yardstick)
        table = own.join(of_quarters(values), on=KEYS, how="left", maintain_order="left")
        table = table.join(exposure(frame, yardstick.model), on=KEYS, how="left", maintain_order="left")
        table = with_readings(table, frame, yardstick.model, yardstick.frontier, shared.devices)
        if "group" in frame.columns:
            table = table.join(groups_of(frame), on=KEYS, how="left", maintain_order="left")
        scaled = [(pl.col(one.name) / size_of(name)).alias(one.name) for name, one in FIGURES.items()]
        figures = figure_sums(values.select("golfer", quarter, "struck_on", *scaled), list(FIGURES.values()))
        return table, figures, move_sums(frame) if moving else None

    tables, figures, moves = zip(*read.each(of_block), strict=True)
    numbered = (one.with_columns(pl.lit(first + place).alias(BLOCK)) for place, one in enumerate(tables))
    return QuarterSums(pl.concat(numbered), FigureSums.joined(figures), pl.concat(moves) if moving else None)


def pool_quarters(sums: QuarterSums, yardstick: Yardstick) -> PooledQuarters:
    """Learn from all golfers what the comparison of each one's quarters needs of them."""
    figures = {name: pool(sums.figures, figure) for name, figure in FIGURES.items()}
    common = {} if sums.moves is None else common_moves(sums.moves, yardstick.model)
    return PooledQuarters(figures, common)
