"""What every summary of a run says (pure)."""

import polars as pl

from pipeline.collect.other_logs import LOOKS_ALIKE

CAUTION = (
    "These distances describe golfers. Don't use them to design ranges, nets or fences: "
    "that takes a qualified designer and local rules."
)


def alike_lines(sources: pl.DataFrame) -> list[str]:
    """Say in which logs a golfer's name looks like another's; sources.csv says whose. `sources` is `Sources`."""
    alike = sources.filter(pl.col("reason").str.contains(LOOKS_ALIKE, literal=True)).sort("source")
    if not alike.height:
        return []
    return [
        f"  look-alikes: golfers of {', '.join(alike.get_column('source'))} have names that look like others'. All are "
        "kept apart; sources.csv names them."
    ]
