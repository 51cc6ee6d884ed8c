"""What every part of the page's data stands on: the tables' rows by golfer, laid out once."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any

import numpy as np
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.frontier import Frontier
from pipeline.coach.goals.golfer_code import telling_length
from pipeline.drives import Drives
from pipeline.report.page.advice import Advice, Circumstances, advice_of
from pipeline.report.page.counts import quarters_of, states_of
from pipeline.report.page.facts import quarter_facts
from pipeline.report.page.sureness import how_sure
from pipeline.shown import IMPERIAL, METRIC, Units
from pipeline.statistics.arrays import Array
from pipeline.tables.columns import Table
from pipeline.tables.delivery import Delivery
from pipeline.tables.golfers import Golfers
from pipeline.tables.table_set import TableSet

Row = dict[str, Any]

# As wide to each side of the golfer's speed as a band usually is. With 3 mph or 10 the demo's ratios move by 0.002 on
# average and by 0.01 at most.
NEAR_MPH = 5.0


@dataclass(frozen=True)
class Ground:
    """A study's tables, benchmarks and drives, as the page's data are made from them.

    Attributes
    ----------
    tables : TableSet
    frontier : Frontier
    drives : DataFrame or Drives
        The columns of `pipeline.report.page.facts.PAGE_COLUMNS`.
    settings : mapping
        Keys `study`, `flags`, `bands`, `privacy` and `window_tolerance_yd`.
    landings : DataFrame, optional
        Where the newest drives to draw came down: from `pipeline.report.page.straight_part.landings_to_draw`.
    """

    tables: TableSet
    frontier: Frontier
    drives: pl.DataFrame | Drives
    settings: Mapping[str, Any]
    landings: pl.DataFrame | None = None

    @property
    def threshold_yd(self) -> float:
        """Yards lost above which a golfer is flagged."""
        return float(self.settings["flags"]["lost_yd"])

    @property
    def threshold(self) -> float:
        """The same in the units in which it is said."""
        return self.threshold_yd / self.units.yd_each

    @cached_property
    def units(self) -> Units:
        """The units in which sentences are said, and in which figures add up as shown."""
        metric = self.settings.get("units", self.frontier.units) == "metres"
        return METRIC if metric else IMPERIAL

    def yd(self, shown: int | None) -> float | None:
        """Give a distance in shown units in yards again: whole ones, or what is whole in the study's units."""
        return shown if shown is None or self.units is IMPERIAL else round(shown * self.units.yd_each, 6)

    @property
    def min_shots(self) -> int:
        """Drives that an assessment needs."""
        return int(self.settings["flags"]["min_shots"])

    @cached_property
    def bands(self) -> SpeedBands:
        """The study's speed bands."""
        return SpeedBands.of(self.settings["bands"]["centres"], self.settings["bands"]["half_width_mph"])

    @cached_property
    def golfers(self) -> pl.DataFrame:
        """Give the table `Golfers` with words as text, band_mph, and the best launch and spin of the club speed."""
        table = self.tables[Golfers].with_columns(pl.col("golfer", "quarter", "main_cause", "status").cast(pl.String))
        speed = table["club_speed_mph"].cast(pl.Float64).to_numpy()
        best = [
            pl.Series(f"best_{name}", self.frontier.at(name, speed), dtype=pl.Float64).fill_nan(None)
            for name in ("launch_deg", "spin_rpm")
        ]
        band = pl.Series("band_mph", self.bands.band_of(speed), dtype=pl.Float64).fill_nan(None)
        # Golfers stay in the table's order, which has nothing of the secret key in it (see `keyless_order`).
        first = pl.int_range(pl.len()).min().over("golfer").alias("first")
        return table.with_columns(band, *best).with_columns(first).sort("first", "quarter").drop("first")

    @cached_property
    def quarters(self) -> list[str]:
        """Quarters with drives, oldest first."""
        return quarters_of(self.golfers)

    @property
    def newest(self) -> str:
        """Newest quarter with drives."""
        return self.quarters[-1]

    @property
    def before(self) -> str | None:
        """Give the quarter before the newest; None in a study's first."""
        return self.quarters[-2] if len(self.quarters) > 1 else None

    @cached_property
    def states(self) -> pl.DataFrame:
        """From `states_of`."""
        return states_of(self.golfers)

    @cached_property
    def state(self) -> dict[tuple[str, str], str]:
        """State by golfer and quarter."""
        return {(golfer, quarter): state for golfer, quarter, state in self.states[:, [0, 1, 3]].iter_rows()}

    @cached_property
    def histories(self) -> dict[str, list[Row]]:
        """Rows of `golfers` by golfer, oldest first."""
        found: dict[str, list[Row]] = {}
        for row in self.golfers.iter_rows(named=True):
            found.setdefault(row["golfer"], []).append(row)
        return found

    @cached_property
    def now(self) -> dict[str, Row]:
        """Rows of the newest quarter by golfer."""
        last = {golfer: rows[-1] for golfer, rows in self.histories.items()}
        return {golfer: row for golfer, row in last.items() if row["quarter"] == self.newest}

    @cached_property
    def facts(self) -> dict[tuple[str, str], Row]:
        """From `quarter_facts`."""
        return quarter_facts(self.drives)

    def by_golfer(self, schema: type[Table]) -> dict[str, Row]:
        """Give the rows of a table by golfer, those of the newest quarter where it has quarters; none without it."""
        table = self.tables.get(schema)
        if table is None:
            return {}
        here = table.filter(pl.col("quarter") == self.newest) if "quarter" in table.columns else table
        return {row["golfer"]: row for row in here.iter_rows(named=True)}

    @cached_property
    def _lofts(self) -> dict[str, Row]:
        return self.by_golfer(Delivery)

    @cached_property
    def _ratios(self) -> tuple[Array, dict[str, tuple[int, int]]]:
        """Speed ratios of the newest quarter's golfers by club speed, and the span of those near each, if enough."""
        known = self.golfers.filter((pl.col("quarter") == self.newest) & pl.col("ball_speed_mph").is_not_null())
        known = known.filter(pl.col("status") != "not_assessed").sort("club_speed_mph")
        speed = known["club_speed_mph"].cast(pl.Float64).to_numpy()
        ratio = known["ball_speed_mph"].cast(pl.Float64).to_numpy() / speed
        first, end = np.searchsorted(speed, speed - NEAR_MPH), np.searchsorted(speed, speed + NEAR_MPH, side="right")
        least = int(self.settings["privacy"]["min_golfers"])
        spans = zip(known["golfer"], first.tolist(), end.tolist(), strict=True)
        return ratio, {golfer: (lo, hi) for golfer, lo, hi in spans if hi - lo >= least}

    def _better_ratio(self, golfer: str) -> float | None:
        """Give the speed ratio of an efficient strike among the newest quarter's golfers near a golfer's speed."""
        ratio, spans = self._ratios
        return float(np.quantile(ratio[slice(*spans[golfer])], self.frontier.strike)) if golfer in spans else None

    def about(self, row: Row) -> Circumstances:
        """Give what the advice on a row of `golfers` goes by; what only the newest quarter has is None in others."""
        golfer, newest = row["golfer"], row["quarter"] == self.newest
        return Circumstances(
            best_launch_deg=row["best_launch_deg"],
            best_spin_rpm=row["best_spin_rpm"],
            find_better_ratio=partial(self._better_ratio, golfer) if newest else lambda: None,
            poorer_yd=self.facts.get((golfer, row["quarter"]), {}).get("poorer_yd"),
            loft=self._lofts.get(golfer) if newest else None,
            threshold_yd=self.threshold_yd,
            min_shots=self.min_shots,
            units=self.units,
            strike=self.frontier.strike,
        )

    @cached_property
    def advice(self) -> dict[str, list[Advice]]:
        """Give what the golfers of the newest quarter might do, by golfer; from `advice_of`."""
        return {golfer: advice_of(row, self.about(row)) for golfer, row in self.now.items()}

    def sure(self, row: Row) -> str | None:
        """Say how sure the yards lost of a row are; None where nothing was assessed."""
        if row["status"] == "not_assessed":
            return None
        ends = (row["lost_lo90_yd"], row["lost_hi90_yd"])
        return how_sure(row["lost_yd"], *ends, self.threshold_yd, flagged=row["flagged"])

    @cached_property
    def short_length(self) -> int:
        """Characters of a pseudonym that tell all golfers apart, as charts show them."""
        return telling_length(self.histories)

    def short(self, golfer: str) -> str:
        """Give the beginning of a pseudonym that tells it from all others."""
        return golfer[: self.short_length]
