"""The table of intervals at the level that a study asks for."""

from pipeline.tables import columns as cols

# What a row's interval is of.
COEFFICIENT, CARRY, TOTAL, DRIVE = QUANTITIES = ("coefficient", "efficient carry", "efficient total", "drive")


class Intervals(cols.Table):
    """Figures of the model and the benchmarks with intervals at the study's own level."""

    FILES = ("model/intervals.csv",)
    ROW = "figure"

    quantity = cols.word("Quantity", "What the figure is.", QUANTITIES, primary_key=True)
    key = cols.text(
        "Key",
        "Which one: the term of a coefficient, the center of a band in mph, or what is known of a drive.",
        primary_key=True,
    )
    unit = cols.text(
        "Unit", "Of estimate, standard error and interval. A coefficient in yd is for one scaled unit of its term."
    )
    estimate = cols.number(
        "Estimate", "The figure. Of a drive it is 0: its carry is compared with expected carry.", decimals=3
    )
    std_error = cols.number(
        "Standard error", "Empty for a drive, whose interval comes from quantiles.", decimals=3, nullable=True, min=0
    )
    freedom = cols.number(
        "Degrees of freedom",
        "Of Student's t; empty where the interval is that of the normal distribution, or comes from quantiles.",
        decimals=1,
        nullable=True,
        min=0,
    )
    level = cols.number("Level", "Of the interval: intervals.level of study.yaml.", decimals=2, min=0.5, max=0.99)
    lo = cols.number("Low end", "Low end of the interval at the level.", decimals=3, nullable=True)
    hi = cols.number("High end", "High end of the interval at the level.", decimals=3, nullable=True)
    note = cols.note()
