"""What workbooks, the text of the bands and the summary say of results by hand (pure)."""

from collections.abc import Mapping
from typing import Any

import dataframely as dy
import polars as pl

from pipeline.benchmark.bands import NO_FLIGHT as BAND_NOTE
from pipeline.report.display import markdown_table, show
from pipeline.report.summary.summary_words import CAUTION, alike_lines
from pipeline.shown import number_text
from pipeline.tables.columns import PERCENTILES
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers
from pipeline.tables.logs import Sources

NO_FLIGHT = "By hand: no launch and no spin in these logs, so carry against speed only. Causes stay unknown."
AIR = ("Carry", "As measured: without launch and spin the air can't be put right.")
BETTER = (
    "Yards lost",
    "Measured against the mean carry that 9 in 10 golfers of that speed stay below. That isn't the efficient carry, "
    "which is usually longer. Causes stay unknown, so all of it stands under other.",
)
HOW_TO_READ = """\
A band is named by the center of its range of club speed. Percentiles run over golfers, each one's typical drive moved
to the band's center; golfers near the band count too, the less the farther off they are. A dash means too few golfers.
Carry is as measured: without launch and spin the air can't be put right.
"""
_CAUTION = ("Caution", CAUTION)
_PEOPLE = ("Caution", "These are data on people: keep to the local privacy law, and keep the key and names elsewhere.")


def golfer_notes(flags: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Say what the golfers' workbook rests on, with the thresholds of `flags`."""
    lost, rate, shots = (f"{flags[key]:g}" for key in ("lost_yd", "false_discovery_rate", "min_shots"))
    told = f"At least {shots} drives, and more than {lost} yd lost with q of {rate} or less."
    return (BETTER, AIR, ("Flagged", told), _CAUTION, _PEOPLE)


def band_notes() -> tuple[tuple[str, str], ...]:
    """Say what the bands' workbook rests on."""
    return (AIR, ("Efficient carry, windows, total", "Empty: they need launch and spin."), _CAUTION)


def bands_text(bands: dy.DataFrame[BandTable]) -> str:
    """Write the band table as a markdown document."""
    order = bands.sort("quarter", "band_mph", descending=[True, False]).with_columns(_own_note())
    carry = [(f"carry_p{p}_yd", f"carry_p{p}_lo90_yd", f"carry_p{p}_hi90_yd") for p in PERCENTILES]
    table = markdown_table(show(order, BandTable, ["quarter", "band_mph", "golfers", "shots", *carry, "note"]))
    return f"# Speed bands\n\n{table}\n{NO_FLIGHT}\n\n{HOW_TO_READ}\n{CAUTION}\n"


def _own_note() -> pl.Expr:
    """Take what every band's note says out of it: below the table it stands once."""
    return pl.col("note").str.replace(rf"(?:; )?{BAND_NOTE}$", "").alias("note")


def summary_text(golfers: dy.DataFrame[Golfers], sources: dy.DataFrame[Sources], page: str, speed_logs: int) -> str:
    """Tell a run's outcome in a few lines of plain text."""
    rows, accepted, rejected, again = (
        int(sources[name].sum()) for name in ("rows", "accepted", "rejected", "duplicates")
    )
    refused = sources.filter(pl.col("status") == "refused").sort("source")
    newest = golfers.filter(pl.col("quarter") == pl.col("quarter").max())
    assessed, flagged = newest.filter(pl.col("status") != "not_assessed"), newest.filter("flagged")
    unused = [f"Speed practice needs launch and spin: {speed_logs} speed logs aren't used."] if speed_logs else []
    lines = [
        "",
        f"Logs: {sources.height - refused.height} used, {refused.height} refused. Rows: {rows:,} = {accepted:,} "
        f"accepted + {rejected:,} rejected + {again:,} duplicates.",
        *(f"  refused: {row['source']}: {row['reason']}" for row in refused.iter_rows(named=True)),
        *alike_lines(sources),
        f"{newest.item(0, 'quarter')}: {assessed.height} of {newest.height} golfers assessed, {flagged.height} "
        f"flagged, {number_text(float(flagged['lost_yd'].sum()))} yd lost by them together, against the better golfers "
        "of their speed.",
        NO_FLIGHT,
        *unused,
        f"Open {page}: carry against speed, and every golfer.",
        CAUTION,
    ]
    return "\n".join(lines) + "\n"
