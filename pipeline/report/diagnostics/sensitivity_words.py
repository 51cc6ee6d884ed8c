"""What the page of sensitivity says: every heading and sentence, from the table `Sensitivity`."""

from collections.abc import Sequence

import polars as pl

from pipeline.research.sensitivity.scenarios import REJECTED_FROM
from pipeline.research.sensitivity.verdict import BandVerdict
from pipeline.shown import number_text, signed_text
from pipeline.tables.sensitivity import BASE

# What makes each choice otherwise, as the subject of a sentence.
NAMES = {
    "flight": "the choice of flight set",
    "device": "leaving out a device",
    "ball": "leaving out a ball",
    "quarter": "leaving out a quarter",
    "candidate": "another candidate model",
    "curved drives": "leaving out curved drives",
    "least drives": "asking for more drives a golfer",
}
LUCK = (
    "Leaving drives out also moves a figure by luck. Where half of the golfers are left out, that luck is about as "
    "large as the interval's own, and nearly one such move in ten lies beyond the interval although nothing is wrong."
)
REFERENCE = (
    "Carry stays that of the study's reference device and ball, also where these are left out. Golfers are judged by "
    "the drives of the newest quarter. A device, a ball or curved drives are left out there too, a quarter only in the "
    "fit."
)
FLIGHT = (
    "All flight sets count, also those that fit these drives worse: none is the ball itself, and they show what isn't "
    "known of its flight in other air."
)


def joined(words: Sequence[str]) -> str:
    """Write `a, b and c`."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def bands_text(bands_mph: Sequence[float]) -> str:
    """Write `70, 90 and 100 mph`."""
    return f"{joined([f'{band:g}' for band in bands_mph])} mph"


def apart(move_yd: float, reach_yd: float) -> tuple[str, str]:
    """Write the size of a move and what the interval reaches, with as many decimals as tell them apart."""
    for decimals in (1, 2, 3):
        found = number_text(abs(move_yd), decimals), number_text(reach_yd, decimals)
        if found[0] != found[1]:
            break
    return found


def verdict_heading(verdicts: Sequence[BandVerdict]) -> str:
    """Say at how many bands the interval holds every alternative, and what goes beyond it."""
    held, many = sum(one.held for one in verdicts), len(verdicts)
    if not verdicts:
        return "No band has an efficient carry, so there is nothing to move"
    if held == many:
        return f"The interval of efficient carry holds every alternative, at all {many} bands"
    beyond = {one.choice: None for verdict in verdicts for one in verdict.beyond}
    where = [
        f"{NAMES[choice]} goes beyond it at "
        f"{bands_text([v.band_mph for v in verdicts if choice in {one.choice for one in v.beyond}])}"
        for choice in beyond
    ]
    least = f"at {held} of {many} bands" if held else f"at none of {many} bands"
    return f"The interval of efficient carry holds every alternative {least}: {joined(where)}"


def verdict_sentences(verdicts: Sequence[BandVerdict]) -> list[str]:
    """Say of each band what the interval holds, and what it doesn't."""
    found: list[str] = []
    for one in verdicts:
        if one.alternatives == 0:
            found.append(f"At {one.band_mph:g} mph no alternative could be fitted.")
        elif one.held:
            move, reach = apart(one.largest[0].move_yd, one.reach_yd)
            what = f"holds all {one.alternatives} alternatives: the largest move is {move} yd"
            found.append(f"At {one.band_mph:g} mph the interval {what}, the interval reaches {reach} yd.")
        for beyond in one.beyond:
            move, reach = apart(beyond.move_yd, one.reach_yd)
            what = f"{NAMES[beyond.choice]} moves efficient carry by {move} yd ({beyond.scenario})"
            found.append(f"At {one.band_mph:g} mph {what}; the interval reaches {reach} yd.")
    return found


def rejected_sentence(table: pl.DataFrame) -> str | None:
    """Say which candidates are left out of the verdict; None if there are none."""
    names = table.filter(pl.col("kind") == "rejected").get_column("scenario").unique(maintain_order=True).to_list()
    if not names:
        return None
    return (
        f"The interval isn't asked to hold {joined(names)}: on golfers held out the error is more than "
        f"{REJECTED_FROM:g} times the chosen model's."
    )


def flags_heading(whole: pl.DataFrame) -> str:
    """Say how many flags change at most, over the alternatives; `whole` are the rows of all golfers."""
    base = _base_of(whole)
    if base is None or not base["flagged"]:
        return "Nobody is flagged in the newest quarter as it is"
    most = _alternatives(whole).select((pl.col("joined") + pl.col("left")).max()).item()
    if not most:
        return f"All {base['flagged']} flags stay with every alternative"
    return f"At most {most} of {base['flagged']} flags {'changes' if most == 1 else 'change'} with any alternative"


def flags_sentences(whole: pl.DataFrame) -> list[str]:
    """Say who is flagged as it is, which scenario changes most, and how far yards lost move."""
    base, tried = _base_of(whole), _alternatives(whole)
    if base is None:
        return []
    found = [f"As it is, {base['flagged']} of {base['assessed']} golfers assessed in the newest quarter are flagged."]
    changed = tried.with_columns((pl.col("joined") + pl.col("left")).alias("changed"))
    if changed.height and changed.get_column("changed").max():
        row = changed.sort("changed", descending=True, maintain_order=True).row(0, named=True)
        join, leave = _counted(row["joined"], "join"), _counted(row["left"], "leave")
        found.append(f"Most change with {row['scenario']}: {join}, {leave}.")
    moves = tried.get_column("lost_move_yd").drop_nulls()
    if len(moves):
        low, high = (signed_text(float(value), 1) for value in (moves.min(), moves.max()))  # type: ignore[arg-type]
        found.append(f"The median golfer's yards lost move by {low} to {high} yd.")
    if tried.get_column("gone").sum():
        found.append("Who has no drives left in a scenario isn't assessed there; such flags are counted apart.")
    return found


def definitions_heading(table: pl.DataFrame) -> str:
    """Say how far another definition of efficient moves it."""
    moves = table.filter(pl.col("kind") == "definition").get_column("move_yd").abs().drop_nulls()
    if moves.is_empty():
        return "Another definition of efficient could not be tried"
    return f"Another definition of efficient moves it by up to {number_text(float(moves.max()), 1)} yd"  # type: ignore[arg-type]


def windows_heading(shifts: pl.DataFrame) -> str:
    """Say how far an edge of a window shifts at most, over the alternatives; `shifts` are those of `window_shifts`."""
    known = shifts.filter(pl.col("kind") == "alternative").drop_nulls(["launch_deg", "spin_rpm"])
    if known.is_empty():
        return "There is no window to compare"
    launch, spin = known.select(pl.col("launch_deg", "spin_rpm").max()).row(0)
    if launch == 0 and spin == 0:
        return "No edge of a window shifts with any alternative"
    return f"An edge of a window shifts by up to {launch:g} deg and {spin:g} rpm with the alternatives"


def _counted(number: int, verb: str) -> str:
    return f"{number} {verb}{'s' if number == 1 else ''}"


def _base_of(whole: pl.DataFrame) -> dict[str, int] | None:
    rows = whole.filter(pl.col("kind") == BASE)
    return rows.row(0, named=True) if rows.height else None


def _alternatives(whole: pl.DataFrame) -> pl.DataFrame:
    return whole.filter((pl.col("kind") == "alternative") & pl.col("flagged").is_not_null())
