"""Reading a study's results for one goal, and the answer in plain words (an edge module)."""

from pathlib import Path
from typing import Any

import polars as pl

from pipeline.benchmark.lookup_command import Asked, read_results
from pipeline.coach.goals.needed_speed import PRESENT_COLUMNS, DistanceCurve, Present
from pipeline.coach.goals.one_goal import EDGES, Study, Wish, plan_one, present_at, present_of_drive
from pipeline.edge.artefacts import read_arrays
from pipeline.errors import UserError

GOLFERS = Path("golfers/golfers.csv")
REPLICATES = "replicates.npz"
TEXTS = ("golfer", "quarter", "status", "note")
USED: dict[str, Any] = dict.fromkeys(TEXTS, pl.String) | dict.fromkeys(PRESENT_COLUMNS, pl.Float64)


def answer_goal(folder: Path, wish: Wish, asked: Asked | None = None) -> tuple[str, dict[str, Any]]:
    """Answer a goal from a study's results.

    Parameters
    ----------
    folder : Path
        See `pipeline.benchmark.lookup_command.find_results`.
    wish : Wish
    asked : Asked, optional
        Conditions; the study's standard ones unless given.

    Returns
    -------
    tuple of str and dict
        The study's name; the answer of `plan_one` with the golfer's pseudonym and quarter.

    Raises
    ------
    UserError
        If the results can't be read, there is no such golfer, or what is given doesn't go together.
    """
    _check(wish)
    study = _read(folder, wish.carry, asked or Asked())
    quarter, note, present = _present(folder, wish, study)
    answer = plan_one(study, wish, present)
    notes = [text for text in (note, answer["note"]) if text]
    return study.name, {"golfer": wish.golfer, "quarter": quarter} | answer | {"note": "; ".join(notes) or None}


def _check(wish: Wish) -> None:
    some = any(value is not None for value in wish.delivery)
    if wish.golfer is not None and some:
        raise UserError("--golfer brings a delivery of its own; leave out --launch, --spin and --ball-speed.")
    if some and wish.club_speed_mph is None:
        raise UserError("a delivery needs its club speed; give --speed too.")


def _read(folder: Path, carry: bool, asked: Asked) -> Study:
    found = read_results(folder, asked)
    curve = (DistanceCurve.of_carry if carry else DistanceCurve.of_total)(found.frontier)
    refits = read_arrays(found.model_path.with_name(REPLICATES))["coefficients"]
    return Study(found.frontier.study, found.model, refits, curve, found.place)


def _present(folder: Path, wish: Wish, study: Study) -> tuple[str | None, str | None, Present | None]:
    """Give the golfer's quarter, a remark, and what the golfer does now, as far as it is known."""
    if wish.golfer is None:
        return None, *present_of_drive(study, wish)
    rows = _rows_of(folder / GOLFERS, wish.golfer)
    if rows.is_empty():
        raise UserError(f"{folder / GOLFERS}: has no golfer with this pseudonym; copy one from its first column.")
    row = rows.sort("quarter").tail(1)
    quarter = str(row.get_column("quarter").item())
    if row.get_column("status").item() == "not_assessed":
        return quarter, f"not assessed in {quarter}: {row.get_column('note').item()}", None
    present = Present.of(row, study.curve.frontier, study.model)
    if wish.club_speed_mph is None:
        return quarter, None, present
    there = present_at(study, present, wish.club_speed_mph)
    return quarter, f"at {wish.club_speed_mph:g} mph with the delivery of {quarter}", there


def _rows_of(path: Path, golfer: str) -> pl.DataFrame:
    """Read a golfer's rows; without the table's schema, whose import would take half of the answer's time."""
    try:
        table = pl.read_csv(path, columns=list(USED), schema_overrides=USED)
    except (OSError, pl.exceptions.PolarsError):
        raise UserError(f"{path}: can't be read; delete it and run snakemake again.") from None
    return table.filter(pl.col("golfer") == golfer)


def goal_text(study: str, answer: dict[str, Any]) -> str:
    """Write an answer as a small table with a sentence.

    Parameters
    ----------
    study : str
    answer : dict
        From `answer_goal`.
    """
    kind = "carry" if answer["distance"] == "carry" else "carry and roll"
    head = [f"goal {answer['goal_yd']:g} yd of {kind}"]
    if answer["golfer"] is not None:
        head.append(f"{answer['golfer']}, {answer['quarter']}")
    if answer["club_speed_mph"] is not None:
        head.append(f"club speed {answer['club_speed_mph']:.1f} mph")
    rows = [
        ("today", "present", "yd", ""),
        ("efficient today", "efficient", "yd", ""),
        ("gap to the goal", "gap", "yd", ""),
        ("  by delivery", "delivery", "yd", ""),
        ("  by speed", "speed", "yd", ""),
        ("speed, efficient", "efficient_speed", "mph", _more(answer, "efficient_speed_mph")),
        ("speed, as now", "present_speed", "mph", _more(answer, "present_speed_mph")),
    ]
    lines = [_row(answer, *row) for row in rows if answer[f"{row[1]}_{row[2]}"] is not None]
    tail = [text for text in (_sentence(answer), answer["note"]) if text]
    return "\n".join([f"{study}: {', '.join(head)}", *lines, *(f"  {text}" for text in tail)])


def _row(answer: dict[str, Any], label: str, name: str, unit: str, remark: str) -> str:
    value, lo, hi = (answer[f"{name}_{edge}{unit}"] for edge in EDGES)
    digits = 0 if unit == "yd" else 1
    edges = ["..." if edge is None else f"{edge:.{digits}f}" for edge in (lo, hi)]
    return f"  {label:<17}{value:>7.{digits}f} {unit:<5}90 % interval: {edges[0]} to {edges[1]} {unit}{remark}"


def _more(answer: dict[str, Any], name: str) -> str:
    if answer[name] is None or answer["club_speed_mph"] is None:
        return ""
    step = answer[name] - answer["club_speed_mph"]
    return f"; {abs(step):.1f} mph {'more' if step > 0 else 'less'} than today"


def _sentence(answer: dict[str, Any]) -> str | None:
    reach, goal, efficient = answer["reach"], answer["goal_yd"], answer["efficient_yd"]
    if reach == "reached":
        return f"The mean drive already goes the distance, with {-answer['gap_yd']:.0f} yd to spare."
    if reach == "delivery":
        return "An efficient delivery goes the distance at today's club speed."
    if reach == "both":
        return (
            f"Delivery can give {answer['delivery_yd']:.0f} yd of the gap at today's club speed; the other "
            f"{answer['speed_yd']:.0f} yd take {answer['efficient_speed_mph'] - answer['club_speed_mph']:.1f} mph more."
        )
    if reach == "speed":
        return "The delivery has nothing left to give: only more club speed helps."
    if reach is None and efficient is not None:
        short = goal - efficient
        told = f"{short:.0f} yd short" if short > 0 else "which is enough"
        return (
            f"An efficient delivery at {answer['club_speed_mph']:.1f} mph goes {efficient:.0f} yd, {told}. Today's "
            "delivery isn't known: give --launch, --spin and --ball-speed, or --golfer."
        )
    return None
