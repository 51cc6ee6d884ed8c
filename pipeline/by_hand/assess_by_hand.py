"""Step: say what results by hand can: percentiles of carry by band, and yards lost without causes.

In: by_hand.duckdb. Out: bands.csv and .parquet (BandTable, a row per quarter and band), golfers.csv (Golfers, a row per
golfer and quarter), flagged.csv (the flagged of the newest quarter, the worst first), reference.csv (References, a row
per mph), sources.csv (Sources) and shots.duckdb with the tables `shots`, `rejects` and those made here.
"""

from pathlib import Path
from typing import Any

import polars as pl

from pipeline.bands import SpeedBands
from pipeline.by_hand.losses import Rules, bands_of, golfers_table, study_reference
from pipeline.edge.database import devices_of_sources, read_sources, shots_in_pieces, write_hand_shots
from pipeline.edge.files import write_csv, write_parquet
from pipeline.errors import UserError
from pipeline.flight.device_words import with_devices
from pipeline.golfers.flags import FlagRules, form_words
from pipeline.golfers.order import newest_flagged
from pipeline.tables.by_hand import References
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers
from pipeline.tables.logs import Sources
from pipeline.tables.table_set import TableSet

COLUMNS = ("golfer", "quarter", "struck_on", "club_speed_mph", "ball_speed_mph", "carry_measured_yd")


def run(
    loaded: str,
    csv: str,
    parquet: str,
    golfers: str,
    flagged: str,
    reference: str,
    sources: str,
    database: str,
    flags: dict[str, Any],
    bands: dict[str, Any],
    min_golfers: int,
    seed: int,
) -> None:
    """Run the step; see the module's docstring."""
    speed_bands = SpeedBands.of(bands["centres"], bands["half_width_mph"])
    rules = Rules(FlagRules(**flags), speed_bands, min_golfers, seed)
    drives = pl.concat(list(shots_in_pieces(Path(loaded), COLUMNS)) or [pl.DataFrame()])
    if not drives.height:
        raise UserError("no drive was accepted from any log; sources.csv and rejects.csv say why.")
    best = study_reference(drives, rules)
    found, form = golfers_table(drives, best, rules)
    table, every = BandTable.validate(bands_of(drives, rules)), Golfers.validate(found)
    curve = References.validate(References.create_empty() if best is None else best.table())
    told = with_devices(read_sources(Path(loaded)), devices_of_sources(Path(loaded)), {})
    write_csv(Path(csv), table)
    write_parquet(Path(parquet), table)
    write_csv(Path(golfers), every)
    write_csv(Path(flagged), newest_flagged(every))
    write_csv(Path(reference), curve)
    write_csv(Path(sources), logs := Sources.validate(told))
    write_hand_shots(Path(loaded), TableSet({Sources: logs, Golfers: every, BandTable: table}), Path(database))
    print(form_words(form))
