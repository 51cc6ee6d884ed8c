"""Answering one goal as typed, from a study's results (an edge module)."""

from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.benchmark.landing import EfficientLandings
from pipeline.benchmark.lookup_command import (
    USUAL_REACHING,
    Answered,
    StudyResults,
    known_of,
    read_asked,
    read_frontier,
    read_results,
    units_of,
)
from pipeline.benchmark.lookup_text import asked_texts
from pipeline.benchmark.typed_question import Drive, read_drive
from pipeline.coach.goals.goal_notes import goal_notes, goal_refusal, reached_yd
from pipeline.coach.goals.goal_text import goal_text
from pipeline.coach.goals.golfer_code import matched
from pipeline.coach.goals.needed_speed import PRESENT_COLUMNS, DistanceCurve, Present
from pipeline.coach.goals.one_goal import Study, Wish, plan_one, present_at, present_of_drive
from pipeline.coach.goals.one_share import SHARES, at_speed, shares_of_one, usual_of_drive
from pipeline.coach.goals.pace import Pace
from pipeline.edge.artefacts import read_arrays, read_artefact
from pipeline.errors import UserError
from pipeline.shown import Units
from pipeline.statistics.drive_spread import DriveSpread, UsualReaching
from pipeline.texts.catalogue import told
from pipeline.texts.sentences import Sentence
from pipeline.typed import read_typed

GOLFERS = Path("golfers/golfers.csv")
PACE = Path("golfers/pace.json")
REACHING_FILE = Path("golfers/reaching.npz")
REPLICATES = "replicates.npz"
TEXTS = ("golfer", "quarter", "status", "note")
USED: dict[str, Any] = dict.fromkeys(TEXTS, pl.String) | dict.fromkeys(PRESENT_COLUMNS, pl.Float64)


def answer_goal(
    folder: Path,
    distance: str,
    drive: Mapping[str, str | None],
    place: Mapping[str, str | None],
    metric: bool | None,
    *,
    golfer: str | None = None,
    carry: bool = False,
) -> Answered:
    """Answer a goal as typed.

    Parameters
    ----------
    folder : Path
        See `pipeline.benchmark.lookup_command.find_results`.
    distance : str
    drive, place : mapping of str to str or None
        Texts; see `read_drive` and `read_asked`.
    metric : bool or None
        Whether it is typed and printed in metric units; None for the study's own.
    golfer : str, optional
        The beginning of a pseudonym of golfers.csv, whose newest quarter stands for the drive.
    carry : bool
        Whether the goal is carry; else carry and roll together.

    Returns
    -------
    Answered
        With the answer of `plan_one`, the golfer's pseudonym and quarter, and the shares of drives that reach the goal
        (`goal_shares`).

    Raises
    ------
    UserError
        If the results can't be read, there is no such golfer, a text is no number, conditions are out of their limits,
        or what is given doesn't go together.
    """
    _check(drive, golfer)
    kept = read_frontier(folder)
    units = units_of(kept, metric)
    asked = read_asked(place, units)
    found = read_results(folder, asked, kept)
    curve = DistanceCurve.of_carry(found.frontier) if carry else _of_total(found)
    refits = read_arrays(found.model_path.with_name(REPLICATES))["coefficients"]
    study = Study(kept.study, found.model, refits, curve, found.place, read_artefact(folder / PACE, Pace).gain)
    goal_yd, why = read_typed("distance", distance, reached_yd(curve), units)
    if goal_yd is None:
        raise UserError(why if len(curve.speeds_mph) else told("refusals", "no_benchmarks"))
    typed = read_drive(kept, drive, units)
    if typed.refusal is not None and why is None:
        return _unanswered(study, Wish(goal_yd, carry), typed)
    wish = Wish(goal_yd, carry, typed.club_speed, typed.launch, typed.spin, typed.ball_speed)
    quarter, golfer, note, present = _present(folder, wish, study, golfer)
    answer = {"golfer": golfer, "quarter": quarter} | plan_one(study, wish, present)
    answer |= shares_of_one(study, wish, present, _spread(folder, study, wish, golfer, present), answer)
    refusal = goal_refusal(curve, answer, units)
    if refusal is not None:
        return Answered(answer, "", refusal)
    answer["note"] = " ".join(text for text in (note and note.text(), answer["note"]) if text) or None
    said = [*_goal_texts(answer, typed, units), *asked_texts(typed.known() | known_of(asked), asked.turf, units)]
    if note is None and answer["present_yd"] is None and typed.club_speed is not None:
        note = Sentence("notes", "delivery_unknown")
    notes = [one.text(units) for one in (*([note] if note else []), *goal_notes(curve, answer))]
    if answer["share_reaching"] is not None:
        notes.append(told("notes", "share_own"))
    return Answered(answer, goal_text(study.name, answer, said, notes, units, typed.club_speed is not None), None)


def _of_total(found: StudyResults) -> DistanceCurve:
    landings = EfficientLandings.of(found.frontier, found.model, found.place)
    return DistanceCurve.of_total(found.frontier, landings)


def _check(drive: Mapping[str, str | None], golfer: str | None) -> None:
    some = any(drive.get(name) is not None for name in ("launch", "spin", "ball_speed"))
    if golfer is not None and some:
        raise UserError(told("numbers", "golfer_or_delivery"))
    if some and drive.get("club_speed") is None:
        raise UserError(told("numbers", "speed_with_delivery"))


def _unanswered(study: Study, wish: Wish, typed: Drive) -> Answered:
    """Give the answer to a drive that is out of range: no figure at all."""
    empty = dict.fromkeys({"golfer": None, "quarter": None} | plan_one(study, wish, None))
    empty |= dict.fromkeys(SHARES)
    named = {"goal_yd": wish.goal_yd, "distance": "carry" if wish.carry else "total"}
    answer = empty | named | {"club_speed_mph": typed.club_speed, "supported": False, "note": typed.refusal}
    return Answered(answer, "", typed.refusal)


def _goal_texts(answer: dict[str, Any], typed: Drive, units: Units) -> list[str]:
    """Write the goal, whose it is, and a club speed that was not typed."""
    said = [told("command", f"goal_{answer['distance']}", value=units.typed_distance_text(answer["goal_yd"]))]
    if answer["golfer"] is not None:
        said.append(told("command", "golfer", golfer=answer["golfer"], quarter=answer["quarter"]))
    if typed.club_speed is None and answer["club_speed_mph"] is not None:
        said.append(told("command", "club_speed", value=units.speed_text(answer["club_speed_mph"])))
    return said


def _present(
    folder: Path, wish: Wish, study: Study, golfer: str | None
) -> tuple[str | None, str | None, Sentence | None, Present | None]:
    """Give the golfer's quarter and whole pseudonym, a remark, and what the golfer does now, as far as it is known."""
    if golfer is None:
        return None, None, *present_of_drive(study, wish)
    rows = _read_golfers(folder / GOLFERS)
    code = matched(golfer, rows.get_column("golfer").unique().sort().to_list())
    row = rows.filter(pl.col("golfer") == code).sort("quarter").tail(1)
    quarter = str(row.get_column("quarter").item())
    if row.get_column("status").item() == "not_assessed":
        words = {"quarter": quarter, "reason": str(row.get_column("note").item())}
        return quarter, code, Sentence("notes", "not_assessed", words=words), None
    present = Present.of(row, study.curve.frontier, study.model)
    if wish.club_speed_mph is None:
        return quarter, code, None, present
    there = present_at(study, present, wish.club_speed_mph)
    remark = Sentence("notes", "other_speed", {"speed_mph": wish.club_speed_mph}, {"quarter": quarter})
    return quarter, code, remark, there


def _spread(folder: Path, study: Study, wish: Wish, golfer: str | None, present: Present | None) -> DriveSpread | None:
    """Give where the golfer's drives come down at standard conditions and the golfer's own speed, or the usual ones.

    None where nobody can say, as of a golfer whom the newest quarter doesn't have, or results that an earlier version
    made.
    """
    path = folder / (USUAL_REACHING if golfer is None else REACHING_FILE)
    if present is None or not path.is_file():
        return None
    if golfer is None:
        return usual_of_drive(study, wish, present, read_artefact(path, UsualReaching))
    arrays = read_arrays(path)
    (row,) = np.nonzero(arrays["golfer"] == golfer)
    kind = "carry" if wish.carry else "total"
    found = DriveSpread(*(arrays[f"{kind}_{field.name}"] for field in fields(DriveSpread))).rows(row)
    if len(row) == 0 or wish.club_speed_mph is None:
        return found if len(row) else None
    return at_speed(study, found, float(arrays["club_speed_mph"][row[0]]), present, carry=wish.carry)


def _read_golfers(path: Path) -> pl.DataFrame:
    """Read the golfers; without the table's schema, whose import would take half of the answer's time."""
    try:
        return pl.read_csv(path, columns=list(USED), schema_overrides=USED)
    except (OSError, pl.exceptions.PolarsError):
        raise UserError(f"{path}: can't be read; delete it and run snakemake again.") from None
