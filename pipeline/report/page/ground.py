"""What every part of the page's data stands on: the tables as they are, and some golfers' rows at a time laid out."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import islice
from typing import Any

import numpy as np
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.frontier import Frontier
from pipeline.coach.goals.golfer_code import telling_length
from pipeline.drives import KEYS, Drives
from pipeline.report.page.advice import Advice, Circumstances, advice_of
from pipeline.report.page.by_golfer import ByGolfer
from pipeline.report.page.counts import quarters_of, states_of
from pipeline.report.page.facts import DRAWN, OfDrives, of_drives
from pipeline.report.page.sureness import how_sure
from pipeline.report.shown_sums import shown_columns
from pipeline.shown import IMPERIAL, METRIC, Units, rounded
from pipeline.statistics.ranges import quantile_of_ranges
from pipeline.tables.columns import Table
from pipeline.tables.delivery import Delivery
from pipeline.tables.golfers import PARTS, Golfers
from pipeline.tables.table_set import TableSet

Row = dict[str, Any]

# As wide to each side of the golfer's speed as a band usually is. With 3 mph or 10 the demo's ratios move by 0.002 on
# average and by 0.01 at most.
NEAR_MPH = 5.0

UNTOLD = (*PARTS, "efficient_yd", "p_value", "q_value", "ranked_lost_yd", "ranked_lo90_yd", "ranked_hi90_yd", "place")

# Golfers whose rows are laid out at a time: they take some 20 MB, and what is done once for each lot hardly shows.
GOLFERS_AT_ONCE = 1000


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
    _sorted: dict[type[Table], ByGolfer] = field(default_factory=dict, init=False, repr=False, compare=False)

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

    @cached_property
    def min_shots(self) -> int:
        """Drives that an assessment needs."""
        return int(self.settings["flags"]["min_shots"])

    @cached_property
    def bands(self) -> SpeedBands:
        """The study's speed bands."""
        return SpeedBands.of(self.settings["bands"]["centres"], self.settings["bands"]["half_width_mph"])

    @cached_property
    def golfers(self) -> pl.DataFrame:
        """Give the table `Golfers` with what the page adds to it.

        Words are text. place: the golfer's, from 0 on. band_mph. best_launch_deg and best_spin_rpm of the club speed.
        As they are shown, in whole units of the study: shown_carry_yd and so on, see `shown_columns`.
        """
        table = self.tables[Golfers].with_columns(pl.col("golfer", "quarter", "main_cause", "status").cast(pl.String))
        speed = table["club_speed_mph"].cast(pl.Float64).to_numpy()
        best = [
            pl.Series(f"best_{name}", self.frontier.at(name, speed), dtype=pl.Float64).fill_nan(None)
            for name in ("launch_deg", "spin_rpm")
        ]
        band = pl.Series("band_mph", self.bands.band_of(speed), dtype=pl.Float64).fill_nan(None)
        shown = shown_columns(table, self.units).select(pl.all().name.prefix("shown_"))
        place = pl.DataFrame({"golfer": self.codes, "place": np.arange(len(self.codes))})
        table = table.with_columns(band, *best, *shown).join(place, on="golfer", maintain_order="left")
        return table.sort("place", "quarter")

    @cached_property
    def codes(self) -> pl.Series:
        """Golfers' pseudonyms, each once, by their first quarters; those of one quarter stand as in the table.

        The table's order has nothing of the secret key in it (see `keyless_order`).
        """
        keys = self.tables[Golfers].select(pl.col(KEYS).cast(pl.String))
        return keys.sort("quarter", maintain_order=True).get_column("golfer").unique(maintain_order=True)

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
    def now(self) -> pl.DataFrame:
        """Rows of `golfers` of the newest quarter."""
        return self.golfers.filter(pl.col("quarter") == self.newest)

    @cached_property
    def assessed(self) -> pl.DataFrame:
        """Those of them with a result."""
        return self.now.filter(pl.col("status") != "not_assessed")

    @cached_property
    def states(self) -> pl.DataFrame:
        """From `states_of`."""
        return states_of(self.golfers)

    @cached_property
    def of_drives(self) -> OfDrives:
        """What the drives themselves add to the tables."""
        return of_drives(self.drives, self.newest)

    def sure(self, row: Row) -> str | None:
        """Say how sure the yards lost of a row of `golfers` are; None where nothing was assessed."""
        if row["status"] == "not_assessed":
            return None
        ends = (row["lost_lo90_yd"], row["lost_hi90_yd"])
        return how_sure(row["lost_yd"], *ends, self.threshold_yd, flagged=row["flagged"])

    @cached_property
    def short_length(self) -> int:
        """Characters of a pseudonym that tell all golfers apart, as charts show them."""
        return telling_length(self.codes.to_list())

    def short(self, golfer: str) -> str:
        """Give the beginning of a pseudonym that tells it from all others."""
        return golfer[: self.short_length]

    @cached_property
    def _better_ratios(self) -> pl.DataFrame:
        """Give golfer, quarter and the speed ratio of an efficient strike among those near in speed, if enough are.

        Of the newest quarter's golfers with a result.
        """
        known = self.assessed.filter(pl.col("ball_speed_mph").is_not_null()).sort("club_speed_mph")
        speed = known["club_speed_mph"].cast(pl.Float64).to_numpy()
        ratio = known["ball_speed_mph"].cast(pl.Float64).to_numpy() / speed
        first, end = np.searchsorted(speed, speed - NEAR_MPH), np.searchsorted(speed, speed + NEAR_MPH, side="right")
        enough = end - first >= int(self.settings["privacy"]["min_golfers"])
        better = quantile_of_ranges(ratio, first[enough], end[enough], self.frontier.strike)
        return known.select(KEYS).filter(enough).with_columns(pl.Series("better_ratio", better, dtype=pl.Float64))

    def about(self, row: Row, loft: Row | None = None) -> Circumstances:
        """Give what the advice on a row of `laid_out` goes by, with the golfer's row of `Delivery`, if any."""
        return Circumstances(
            best_launch_deg=row["best_launch_deg"],
            best_spin_rpm=row["best_spin_rpm"],
            better_ratio=row["better_ratio"],
            poorer_yd=row["poorer_yd"],
            loft=loft,
            threshold_yd=self.threshold_yd,
            min_shots=self.min_shots,
            units=self.units,
            strike=self.frontier.strike,
        )

    @cached_property
    def laid_out(self) -> ByGolfer:
        """Rows of `golfers` with movement (of `states`), better_ratio, and what `of_drives` has of the quarter.

        Without what is shown of the whole study alone, or in another form.
        """
        keys, states = self.golfers.select(KEYS), self.states.select(*KEYS, pl.col("state").alias("movement"))
        more = [
            keys.join(table, on=KEYS, how="left", maintain_order="left").drop(KEYS)
            for table in (states, self._better_ratios, self.of_drives.facts)
        ]
        return ByGolfer(self.golfers.drop(UNTOLD).hstack([column for table in more for column in table]), self.codes)

    @cached_property
    def drawn(self) -> ByGolfer:
        """From `of_drives`: drives to draw."""
        return ByGolfer(self.of_drives.drawn, self.codes)

    @cached_property
    def drawn_landings(self) -> ByGolfer | None:
        """Rows of `landings`."""
        return None if self.landings is None else ByGolfer(self.landings, self.codes)

    def by_golfer(self, schema: type[Table]) -> ByGolfer | None:
        """Give the rows of a table by golfer; None without the table."""
        table = self.tables.get(schema)
        if table is None:
            return None
        if schema not in self._sorted:
            self._sorted[schema] = ByGolfer(table, self.codes)
        return self._sorted[schema]

    def chunks(self) -> Iterator["Chunk"]:
        """Give all golfers, some at a time, by their places."""
        count = len(self.codes)
        for first in range(0, count, GOLFERS_AT_ONCE):
            yield Chunk(self, first, min(first + GOLFERS_AT_ONCE, count))


@dataclass(frozen=True)
class Chunk:
    """Some golfers of a study, with their rows laid out one by one.

    Attributes
    ----------
    ground : Ground
    first, end : int
        Place of the first golfer, and the one after the last.
    """

    ground: Ground
    first: int
    end: int

    @cached_property
    def histories(self) -> dict[str, list[Row]]:
        """Rows of `Ground.laid_out` by golfer, oldest first."""
        return self._grouped(self.ground.laid_out)

    @cached_property
    def now(self) -> dict[str, Row]:
        """Rows of the newest quarter by golfer."""
        last = {golfer: rows[-1] for golfer, rows in self.histories.items()}
        return {golfer: row for golfer, row in last.items() if row["quarter"] == self.ground.newest}

    def all_of(self, schema: type[Table], *columns: str) -> dict[str, list[Row]]:
        """Give the rows of a table by golfer, of all quarters; none without it.

        If columns are named, those alone beside golfer and quarter.
        """
        return self._grouped(self.ground.by_golfer(schema), columns)

    def newest_of(self, schema: type[Table], *columns: str) -> dict[str, list[Row]]:
        """Give the rows of a table by golfer, those of the newest quarter where it has quarters; none without it."""
        return self._grouped(self.ground.by_golfer(schema), columns, self.ground.newest)

    def by_golfer(self, schema: type[Table], *columns: str) -> dict[str, Row]:
        """Give the same of a table that has one row for each golfer, or for each golfer and quarter."""
        return {golfer: rows[-1] for golfer, rows in self.newest_of(schema, *columns).items()}

    @cached_property
    def drives(self) -> dict[str, list[list[float]]]:
        """Give the newest quarter's drives to draw by golfer: launch, spin and carry; see `of_drives`.

        What device and ball add is taken out of their carry, so that they lie about the golfer's mean carry.
        """
        here, counts = self.ground.drawn.rows(self.first, self.end), self.ground.drawn.counts(self.first, self.end)
        last = [rows[-1] for rows in self.histories.values()]
        own, mean = (
            np.repeat(np.array([row[name] for row in last], dtype=float), counts) for name in ("carry_yd", "mean_yd")
        )
        launch, spin, carry = (here.get_column(name).to_numpy() for name in DRAWN)
        shown = rounded(carry * own / mean).astype(np.int64)
        found = map(list, zip(launch.tolist(), spin.tolist(), shown.tolist(), strict=True))
        return {golfer: list(islice(found, count)) for golfer, count in zip(self.histories, counts, strict=True)}

    @cached_property
    def landings(self) -> dict[str, list[tuple[float, float]]]:
        """Give where they came down, by golfer: offline and carry."""
        found: dict[str, list[tuple[float, float]]] = {}
        if (drawn := self.ground.drawn_landings) is not None:
            for golfer, offline, carry in drawn.rows(self.first, self.end).rows():
                found.setdefault(golfer, []).append((offline, carry))
        return found

    @cached_property
    def advice(self) -> dict[str, list[Advice]]:
        """Give what the golfers of the newest quarter might do, by golfer; from `advice_of`."""
        lofts = self.by_golfer(Delivery)
        return {golfer: advice_of(row, self.ground.about(row, lofts.get(golfer))) for golfer, row in self.now.items()}

    def _grouped(
        self, table: ByGolfer | None, columns: Sequence[str] = (), quarter: str | None = None
    ) -> dict[str, list[Row]]:
        found: dict[str, list[Row]] = {}
        if table is not None:
            keys = [name for name in KEYS if name in table.columns and name not in columns]
            rows = table.rows(self.first, self.end, [*keys, *columns] if columns else None)
            if quarter is not None and "quarter" in keys:
                rows = rows.filter(pl.col("quarter") == quarter)
            for row in rows.to_dicts():
                found.setdefault(row["golfer"], []).append(row)
        return found
