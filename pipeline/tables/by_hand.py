"""Tables of studies of results by hand."""

import dataframely as dy
import polars as pl

from pipeline.tables import columns as cols


class References(cols.Table):
    """Mean carry of the better golfers by club speed, which yards lost of results by hand go by."""

    FILES = ("golfers/reference.csv",)
    ROW = "mph of club speed that golfers reach"

    club_speed_mph = cols.number("Club speed", "In whole mph.", primary_key=True)
    reference_yd, reference_lo90_yd, reference_hi90_yd = cols.estimate(
        "Carry of the better golfers",
        "Mean carry, as measured, that 9 in 10 golfers of that speed stay below. It is not the efficient carry.",
        nullable=False,
    )
    golfers = cols.number("Golfers", "Weight of the golfers behind it: 1 for each of this speed, less for others.")

    @dy.rule()
    def lies_in_its_interval(cls) -> pl.Expr:
        """Check that the interval holds the figure."""
        return pl.col("reference_yd").is_between("reference_lo90_yd", "reference_hi90_yd")
