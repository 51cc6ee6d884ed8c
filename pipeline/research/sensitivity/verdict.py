"""Whether the published intervals hold what other choices of data and method move, band by band."""

from dataclasses import dataclass

import polars as pl

from pipeline.tables.sensitivity import BASE


@dataclass(frozen=True)
class Move:
    """The largest move of a choice: its scenario, and by how much efficient carry moves, yd."""

    choice: str
    scenario: str
    move_yd: float


@dataclass(frozen=True)
class BandVerdict:
    """What alternatives move at one band.

    Attributes
    ----------
    band_mph : float
    efficient_carry_yd, reach_yd : float
        Of the base; the reach is that of its 90 % interval to either side.
    alternatives, outside : int
        Those with a figure here, and those of them that the interval doesn't hold.
    largest : tuple of Move
        The largest move of each choice, the largest first.
    """

    band_mph: float
    efficient_carry_yd: float
    reach_yd: float
    alternatives: int
    outside: int
    largest: tuple[Move, ...]

    @property
    def held(self) -> bool:
        """Whether the interval holds them all."""
        return self.outside == 0

    @property
    def beyond(self) -> tuple[Move, ...]:
        """The largest moves that the interval doesn't hold."""
        return tuple(one for one in self.largest if abs(one.move_yd) > self.reach_yd)


def verdicts(table: pl.DataFrame) -> list[BandVerdict]:
    """Judge each band that the base reaches, by the table `Sensitivity`."""
    base = table.filter(pl.col("kind") == BASE).drop_nulls(["band_mph", "efficient_carry_yd", "reach_yd"])
    found = []
    for row in base.sort("band_mph").iter_rows(named=True):
        here = table.filter((pl.col("band_mph") == row["band_mph"]) & pl.col("held").is_not_null())
        outside = here.filter(~pl.col("held")).height
        figures = (row["band_mph"], row["efficient_carry_yd"], row["reach_yd"])
        found.append(BandVerdict(*figures, here.height, outside, _largest(here)))
    return found


def _largest(here: pl.DataFrame) -> tuple[Move, ...]:
    rows = here.sort(pl.col("move_yd").abs(), descending=True, maintain_order=True)
    each = rows.unique("choice", keep="first", maintain_order=True)
    return tuple(Move(**row) for row in each.select("choice", "scenario", "move_yd").iter_rows(named=True))
