"""The words around the proving ground's figures, and tables in Markdown."""

import polars as pl
from targets import FIRST, FURTHER, Target, Verdict, range_of

MARKS = {Verdict.NOT_MEASURED: "", Verdict.MET: "", Verdict.CANT_SAY: " ?", Verdict.MISSED: " **!**"}


def table_of(frame: pl.DataFrame) -> str:
    """Write a frame as a Markdown table, figures to three digits after the point."""
    lines = ["| " + " | ".join(frame.columns) + " |", "|" + "---|" * frame.width]
    for row in frame.iter_rows():
        cells = (
            f"{c:.3f}".rstrip("0").rstrip(".") if isinstance(c, float) else "" if c is None else str(c) for c in row
        )
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines)


def cell(row: dict[str, object], digits: int) -> str:
    """Write a measure with its Monte Carlo error, and a mark where its target isn't met."""
    value, error, rank = row["measured"], row["std_error"], Verdict(int(str(row["rank"])))
    if value is None:
        return ""
    beside = "" if error is None else f" ± {error:.{digits}f}"
    return f"{value:.{digits}f}{beside}{MARKS[rank]}"


def matrix_of(listed: pl.DataFrame, targets: tuple[Target, ...]) -> str:
    """Write one row a world, one column a target; columns are lettered, the letters explained above."""
    letters = [chr(ord("A") + i) for i in range(len(targets))]
    keys = [f"{letter}: {target.what} ({range_of(target)})" for letter, target in zip(letters, targets, strict=True)]
    rows = []
    for (world,), part in listed.group_by("world", maintain_order=True):
        of = {row["what"]: row for row in part.iter_rows(named=True)}
        cells = (cell(of[target.what], min(target.digits, 2)) for target in targets)
        rows.append({"world": world, **dict(zip(letters, cells, strict=True))})
    return "\n".join(f"- {key}" for key in keys) + "\n\n" + table_of(pl.DataFrame(rows, infer_schema_length=None))


def world_by_world(listed: pl.DataFrame) -> str:
    """Write all targets of all worlds in two tables."""
    return matrix_of(listed, FIRST) + "\n\n### Further targets\n" + matrix_of(listed, FURTHER)


README = """# The proving ground
Made by `snakemake --cores 2 --force proving_ground`: {academies} invented academies in {worlds} worlds,
{golfers} golfers and quarters, each run through the pipeline's own steps from the logs on, each figure compared
with a truth that the pipeline doesn't know. The simulator (`tests/proving_ground`) flies balls of its own,
none of them one of the pipeline's coefficient sets. `tests/proving_ground/worlds.py` says what differs between
the worlds. In all of them but `many-days` golfers are watched on few days, each with a form of its own.

The truth comes from a large population: {population:,} golfers of each club speed, drawn as the world draws its own.
Theirs are the smallest region of launch and spin that holds four fifths, the ratio that a quarter reach, and the most
true carry within. A golfer's true yards lost are those of the long run, over days and drives. The true cause is the
fault that was planted.

## The worst world of each target
The Monte Carlo error (`std_error`, and after ± below) says how far luck moves a figure with so few academies. A figure
outside its target by no more than twice of it is "can't say"; one inside is met. For a share the error is at least that
of the binomial law at the target's edge.

{worst}

## World by world
**!** marks a miss, ? one that luck may explain. Of the bands the worst is shown. `by_world.csv` has all of it.

{world_by_world}

## All worlds together
Over all worlds but {apart}.

{targets}

Expected carry is compared with an oracle who sees the true drive. Scatter that no reading explains is 1.8 % of carry in
all worlds but `calm-air`, where it is 1 %: there the readings' own errors weigh more.

## Figures
Bias is estimate minus truth; its standard error takes the golfers of an academy together. Bands of 12 golfers or more;
the targets' share of intervals that hold efficient carry is of all bands.
Beside each figure stands the oracle's: the same figure by the pipeline's definitions from the true flight and the true
deliveries of the very golfers and drives. Its error is luck of the draw, which no method can beat.

{figures}

![Bias and coverage by world](proving_ground.png)

## Where two devices disagree by 4 % of carry
Mean error of a part on one device minus that on the other.

{devices}

{coach}
"""

COACH = """## Goals, progress, deliveries, practice
What the coach gets, on the same academies and on a few more of other kinds (`tests/proving_ground/coach.py`): golfers
who are watched on a few days with a form of their own, who change, who all gain speed, whose attack is read poorly or
who change lofts. Speed practice has academies of its own. The standard error is that of the measured value over
academies, by leaving out one at a time; a miss within twice of it may be luck.

{coach}"""
