"""The table of sensitivity: what moves when one choice of a study is made otherwise."""

import dataframely as dy
import polars as pl

from pipeline.tables import columns as cols

# What a scenario changes. Alternatives are other choices of data and method, which leave the question as it is: an
# interval should hold what they move. Definitions change the question.
ALTERNATIVES = ("flight", "device", "ball", "quarter", "candidate", "curved drives", "least drives")
DEFINITIONS = ("deliveries", "strike")
BASE = "base"
KINDS = (BASE, "alternative", "rejected", "definition")


class Sensitivity(cols.Table):
    """What moves when one choice is made otherwise. A scenario's last row, without a band, is of all golfers."""

    FILES = ("model/sensitivity.csv",)
    ROW = "scenario and band"

    scenario = cols.text("Scenario", "What is changed; the first is the study as it is.")
    choice = cols.word("Choice", "Which choice is made otherwise.", (BASE, *ALTERNATIVES, *DEFINITIONS))
    kind = cols.word(
        "Kind",
        "alternative: another choice of data or method, whose move the interval should hold. rejected: a candidate "
        "that the contest shows to be far worse. definition: another meaning of efficient.",
        KINDS,
    )
    band_mph = cols.number(
        "Band center", "Center of the band; empty in the row of all golfers.", nullable=True, trim=True
    )
    drives = cols.count("Drives", "Drives of the fit.", nullable=True)
    golfers = cols.count("Golfers", "Golfers of the fit.", nullable=True)
    efficient_carry_yd = cols.number(
        "Efficient carry", "At the band's center. Empty where the scenario doesn't reach it.", nullable=True, decimals=1
    )
    move_yd = cols.number("Move", "Efficient carry less that of the base.", nullable=True, decimals=1)
    reach_yd = cols.number(
        "Reach of the interval",
        "How far the published 90 % interval of efficient carry reaches to either side.",
        nullable=True,
        decimals=1,
        min=0,
    )
    held = cols.flag("Held", "Whether the interval reaches as far as the move. Of alternatives alone.", nullable=True)
    launch_deg = cols.number("Launch", "Of the efficient delivery.", nullable=True)
    spin_rpm = cols.number("Spin", "Of the efficient delivery.", nullable=True)
    launch_lo_deg, launch_hi_deg = cols.interval("Launch window", "empty where there is no window.", inward=True)
    spin_lo_rpm, spin_hi_rpm = cols.interval("Spin window", "empty where there is no window.", inward=True)
    assessed = cols.count("Assessed", "Golfers of the newest quarter who are assessed.", nullable=True)
    flagged = cols.count("Flagged", "Those of them who are flagged.", nullable=True)
    joined = cols.count("Joined", "Flagged here, and not in the base.", nullable=True)
    left = cols.count("Left", "Flagged in the base, and assessed but not flagged here.", nullable=True)
    gone = cols.count("No longer assessed", "Flagged in the base, and not assessed here.", nullable=True)
    lost_move_yd = cols.number(
        "Move of yards lost",
        "Median over golfers assessed both here and in the base: yards lost here less those in the base.",
        nullable=True,
        decimals=1,
    )
    note = cols.note()

    @dy.rule()
    def one_row_each(cls) -> pl.Expr:
        """Check that no scenario has a band twice."""
        return pl.struct("scenario", "band_mph").is_first_distinct()

    @dy.rule()
    def held_is_within_reach(cls) -> pl.Expr:
        """Check that only alternatives with a move are held or not, by the reach of the interval."""
        asked = (pl.col("kind") == "alternative") & pl.col("move_yd").is_not_null() & pl.col("reach_yd").is_not_null()
        return (
            pl.when(asked)
            .then(pl.col("held") == (pl.col("move_yd").abs() <= pl.col("reach_yd")))
            .otherwise(pl.col("held").is_null())
        )
