"""Step: how deliveries go with attack, loft, face and path, and what a change might bring each golfer.

In: drives.parquet, model.json, replicates.npz, frontier.json, golfers.csv. Out: delivery_slopes.csv (one row per
response, predictor and scope; within golfers and between them) and delivery.csv (one row per golfer of the newest
quarter with enough drives).
"""

from pathlib import Path
from typing import NamedTuple

import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.coach.delivery.advice import KEEP_THE_LOFT, advise
from pipeline.coach.delivery.directions import (
    DIRECTION_COLUMNS,
    FITS,
    PATH,
    DirectionFit,
    directed,
    directions_table,
    fit_directions,
    mean_delivery,
)
from pipeline.coach.delivery.loft_change import MovedCarry
from pipeline.coach.delivery.paths import AttackErrors, own_slopes, quarter_paths, with_paths
from pipeline.coach.delivery.slopes import fit_delivery, slopes_table
from pipeline.coach.delivery.sums import DELIVERY_COLUMNS, Sums, add_cells, cell_sums
from pipeline.edge.artefacts import read_arrays, read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv
from pipeline.edge.tables_file import read_table
from pipeline.fit.model import FittedModel
from pipeline.tables.delivery import Delivery, DeliverySlopes
from pipeline.tables.golfers import Golfers

COLUMNS = tuple(dict.fromkeys((*DELIVERY_COLUMNS, *DIRECTION_COLUMNS)))


class Summed(NamedTuple):
    """What is kept of a piece of the drives."""

    cells: pl.DataFrame
    directions: dict[DirectionFit, pl.DataFrame]
    paths: pl.DataFrame
    means: pl.DataFrame

    @classmethod
    def of(cls, drives: pl.DataFrame, golfers: pl.DataFrame) -> "Summed":
        """Sum up some golfers' drives; `golfers` is the table `Golfers`."""
        with_path = directed(drives, golfers)
        newest = golfers.get_column("quarter").max()
        return cls(
            cell_sums(drives, golfers),
            {fit: fit.sums(with_path) for fit in FITS},
            quarter_paths(with_path, str(newest)),
            mean_delivery(with_path),
        )


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
    every = open_drives(Path(drives), COLUMNS)
    table = read_table(golfers, Golfers, every.golfers)
    parts = list(every.each(lambda part: Summed.of(part, table)))
    cells = add_cells([part.cells for part in parts])
    sums = Sums.of(cells)
    fitted = fit_delivery(sums)
    refits = read_arrays(replicates)["coefficients"]
    carry = MovedCarry.of(read_artefact(model, FittedModel).model, refits, read_artefact(frontier, Frontier))
    by_fit = {fit: pl.concat([part.directions[fit] for part in parts]) for fit in FITS}
    directions = fit_directions(by_fit, pl.concat([part.means for part in parts]))
    errors = AttackErrors.of(sums, fitted)
    own = own_slopes(by_fit[PATH], errors)
    paths = pl.concat([part.paths for part in parts])
    advice = with_paths(advise(table, cells, carry, fitted, min_shots), paths, own, directions)
    of_directions = directions_table(directions, errors.worth(by_fit[PATH]))
    write_csv(Path(slopes), DeliverySlopes.validate(pl.concat([slopes_table(sums, fitted), of_directions])))
    write_csv(Path(delivery), Delivery.validate(advice))
    gains = advice.filter(pl.col("advice") != KEEP_THE_LOFT).height
    print(f"Newest quarter: a change of loft might give {gains} of {advice.height} golfers more carry.")
