"""Step: build the speed-band table and what lookups, charts and the golfers' step need of the efficient frontier.

In: drives.parquet, model.json, typical.parquet, replicates.npz, tables.npz. Out: bands.csv, .parquet, .md, .xlsx (one
row per quarter and band), guide.json (one entry per club speed) and chart.json (maps of expected carry for each band).
"""

import json
import os
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.benchmark.bands import BandRules, adjusted_carry, band_table
from pipeline.benchmark.disclosure import coarse_guide_row
from pipeline.benchmark.drives_near import reach_at
from pipeline.benchmark.frontier import Efficient, Population, efficient_at, map_at, supported_speeds
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.configuration.study import Bands
from pipeline.drives import Drives, typical_drives
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import whole, write_csv, write_json, write_parquet, write_text
from pipeline.fit.model import CarryModel
from pipeline.fit.resampled import ResampledFits
from pipeline.flight.standard import StudyTables
from pipeline.physics.turf import FIRMNESS
from pipeline.report.display import bands_markdown
from pipeline.report.workbook.workbook import write_bands_workbook
from pipeline.tables import BandTable
from pipeline.threads import in_order

TOLD_EVERY = 10  # club speeds, in the lines that show progress


def run(
    drives: str,
    model: str,
    typical: str,
    replicates: str,
    tables: str,
    csv: str,
    parquet: str,
    markdown: str,
    workbook: str,
    guide: str,
    chart: str,
    study: str,
    bands: dict[str, Any],
    window_tolerance_yd: float,
    min_shots: int,
    min_golfers: int,
    turf: str,
    air: dict[str, Any],
) -> None:
    """Run the step; see the module's docstring."""
    carry_model = CarryModel.from_dict(json.loads(Path(model).read_text(encoding="utf-8"))["model"])
    with np.load(replicates) as arrays:
        refits = ResampledFits(**arrays)
    setting = Bands.model_validate(bands)
    rules = BandRules(setting.centres, setting.half_width_mph, min_golfers)
    every = open_drives(Path(drives))
    population = Population.from_typical(pl.read_parquet(typical), min_shots)
    with np.load(tables) as arrays:
        roller = Roller(StudyTables.from_arrays(dict(arrays)).standard, FIRMNESS[turf])
    efficient = find_efficient(carry_model, refits, population, rules, window_tolerance_yd, roller)
    typical_by_quarter = golfers_by_quarter(every, carry_model, min_shots)
    table = BandTable.validate(band_table(carry_model, typical_by_quarter, efficient, rules, roller))

    write_csv(Path(csv), table)
    write_parquet(Path(parquet), table)
    write_text(Path(markdown), bands_markdown(table, min_golfers=min_golfers))
    with whole(Path(workbook)) as part:
        write_bands_workbook(part, table)
    used = every.usable(carry_model.surface.speed)
    beside = os.path.relpath(model, Path(guide).parents[1])  # lookups read the model that this guide was made with
    write_json(Path(guide), guide_of(study, efficient, used, rules) | {"air": air, "turf": turf, "model_file": beside})
    write_json(Path(chart), chart_of(study, table, carry_model, population, efficient, rules))
    print(f"Built {table.height} rows of bands; efficient carry at {len(efficient)} club speeds.")


def find_efficient(
    model: CarryModel,
    replicates: ResampledFits,
    population: Population,
    rules: BandRules,
    tolerance_yd: float,
    roller: Roller,
) -> dict[float, Efficient]:
    """Work out what is efficient at every whole mph and every band's centre that the data reach."""
    if len(population.speed_mph) == 0:
        return {}
    whole_mph = np.arange(np.floor(population.speed_mph.min()), np.ceil(population.speed_mph.max()) + 1)
    speeds = np.union1d(whole_mph, np.array(rules.centres_mph))
    reached = supported_speeds(population, rules.half_width_mph, rules.min_golfers, speeds)

    def at(speed: float) -> Efficient:
        return efficient_at(model, replicates, population, speed, rules.half_width_mph, tolerance_yd, roller)

    efficient: dict[float, Efficient] = {}
    for place, found in enumerate(in_order(at, reached.tolist())):
        efficient[found.speed_mph] = found
        if place % TOLD_EVERY == 0:
            print(f"Worked out efficient carry at {place + 1} of {len(reached)} speeds.", flush=True)
    return efficient


def golfers_by_quarter(drives: pl.DataFrame | Drives, model: CarryModel, min_shots: int) -> pl.DataFrame:
    """Give typical drives per golfer and quarter with `carry_p50_yd`, of golfers with enough drives."""
    keys = ["golfer", "quarter"]

    def typical_of(frame: pl.DataFrame) -> pl.DataFrame:
        carry = frame.with_columns(adjusted_carry(frame, model)).group_by(keys).agg(pl.col("carry_yd").median())
        named = carry.rename({"carry_yd": "carry_p50_yd"})
        typical = typical_drives(frame, keys).join(named, on=keys, validate="1:1")
        return typical.filter(pl.col("shots") >= min_shots)

    return Drives.of(drives).gathered(typical_of).sort(keys)


def guide_of(study: str, efficient: dict[float, Efficient], used: Drives, rules: BandRules) -> dict[str, Any]:
    """Gather guide.json: what is efficient and how far the drives reach, by club speed.

    It is published, so what it tells of the golfers about a speed is rounded.
    """
    speeds = np.array(sorted(efficient))
    reach = reach_at(used, speeds, rules.half_width_mph)
    rows = [efficient[v].to_dict() | {"reach": vars(r)} for v, r in zip(speeds.tolist(), reach, strict=True)]
    rows = [coarse_guide_row(row) for row in rows]
    return {"study": study, "speeds": rows}


def chart_of(
    study: str,
    table: pl.DataFrame,
    model: CarryModel,
    population: Population,
    efficient: dict[float, Efficient],
    rules: BandRules,
) -> dict[str, Any]:
    """Gather chart.json: the efficient curve and each band's map of expected carry."""
    speeds = sorted(efficient)
    maps = []
    for centre in rules.centres_mph:
        if centre not in efficient:
            continue
        at = map_at(model, population, centre, rules.half_width_mph)
        best = efficient[centre]
        maps.append(
            {
                "band_mph": centre,
                "launch_deg": at.launch_deg.tolist(),
                "spin_rpm": at.spin_rpm.tolist(),
                "expected_carry_yd": at.carry_yd.tolist(),
                "supported": at.supported.tolist(),
                "window": vars(best.window) if best.window else None,
                "efficient_carry_yd": best.carry_yd,
            }
        )
    return {
        "study": study,
        "quarter": table.get_column("quarter").max(),
        "speeds_mph": speeds,
        "efficient_carry_yd": [efficient[v].carry_yd for v in speeds],
        "efficient_lo90_yd": [efficient[v].lo90_yd for v in speeds],
        "efficient_hi90_yd": [efficient[v].hi90_yd for v in speeds],
        "bands": maps,
    }
