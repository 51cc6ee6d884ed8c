"""Step: how deliveries go with attack and loft, and what a change of either might bring each golfer.

In: drives.parquet, model.json, replicates.npz, frontier.json, golfers.csv. Out: delivery_slopes.csv (one row per
response, predictor and scope; within golfers and between them) and delivery.csv (one row per golfer of the newest
quarter with enough drives).
"""

from pathlib import Path

import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.coach.delivery.advice import KEEP_THE_LOFT, advise
from pipeline.coach.delivery.loft_change import MovedCarry
from pipeline.coach.delivery.slopes import fit_delivery, slopes_table
from pipeline.coach.delivery.sums import DELIVERY_COLUMNS, Sums, add_cells, cell_sums
from pipeline.edge.artefacts import read_arrays, read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv
from pipeline.edge.tables_file import read_table
from pipeline.fit.model import FittedModel
from pipeline.tables.delivery import Delivery, DeliverySlopes
from pipeline.tables.golfers import Golfers


def run(
    drives: str,
    model: str,
    replicates: str,
    frontier: str,
    golfers: str,
    slopes: str,
    delivery: str,
    min_shots: int,
) -> None:
    """Run the step; see the module's docstring."""
    every = open_drives(Path(drives), DELIVERY_COLUMNS)
    table = read_table(golfers, Golfers, every.golfers)
    cells = add_cells(list(every.each(lambda part: cell_sums(part, table))))
    sums = Sums.of(cells)
    fitted = fit_delivery(sums)
    refits = read_arrays(replicates)["coefficients"]
    carry = MovedCarry.of(read_artefact(model, FittedModel).model, refits, read_artefact(frontier, Frontier))
    advice = advise(table, cells, carry, fitted, min_shots)
    write_csv(Path(slopes), DeliverySlopes.validate(slopes_table(sums, fitted)))
    write_csv(Path(delivery), Delivery.validate(advice))
    gains = advice.filter(pl.col("advice") != KEEP_THE_LOFT).height
    print(f"Newest quarter: a change of loft might give {gains} of {advice.height} golfers more carry.")
