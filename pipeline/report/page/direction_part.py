"""Up and straight at once: what more attack does to a golfer's path, and where face and path start and bend the ball.

Left and right are of the target line, for whoever swings. Only the geometry of the swing's plane depends on the hand,
which no log states: it is told for a right-handed swing, and its mirror image for a left-handed one beside it.
"""

from collections.abc import Mapping
from typing import Any

from pipeline.coach.delivery.loft_change import ATTACK_CHANGE_DEG
from pipeline.report.page.said import say
from pipeline.shown import ANGLE_STEP_DEG, rounded_one, typed_text
from pipeline.tables.delivery import PATH_BY

Row = Mapping[str, Any]

BY_GOLFER, BY_PLANE_READ, BY_PLANE_ASSUMED = PATH_BY
_WHY = {BY_GOLFER: "path_by_golfer", BY_PLANE_READ: "path_by_plane", BY_PLANE_ASSUMED: "path_by_usual_plane"}
_FIGURES = (
    "attack_deg",
    "path_deg",
    "face_deg",
    "plane_deg",
    "path_after_attack_deg",
    "path_after_attack_lo90_deg",
    "path_after_attack_hi90_deg",
    "swing_direction_turn_deg",
    "start_direction_deg",
    "spin_axis_deg",
)
DIGITS = 3  # one more than a page shows, and two for rounding


def direction_of(row: Row | None) -> dict[str, Any] | None:
    """Tell a row of `Delivery`, or None where neither path nor start is known.

    Parameters
    ----------
    row : mapping or None

    Returns
    -------
    dict or None
        Figures of the row, deg; path_by; and in words what, why, hand (of the other hand, None where the golfer's own
        swings say it), start (None where face isn't known) and try.
    """
    if row is None or (row["path_after_attack_deg"] is None and row["start_direction_deg"] is None):
        return None
    figures = {name: None if row[name] is None else round(row[name], DIGITS) for name in _FIGURES}
    told = row["path_after_attack_deg"] is not None
    return {
        **figures,
        "path_by": row["path_by"],
        "what": _what(row) if told else _start(row),
        "why": _why(row) if told else None,
        "hand": _other_hand(row) if told and row["path_by"] != BY_GOLFER else None,
        "start": _start(row) if told else None,
        "try": say("try_with_coach"),
    }


def turn_of(row: Row) -> str | None:
    """Say how the swing must turn for more attack to stay straight; None where it isn't known or needs no turn."""
    turn = row["swing_direction_turn_deg"]
    if turn is None or _steps(turn) == 0:
        return None
    return say("turn" if row["path_by"] == BY_GOLFER else "turn_right_handed", turn=way(turn))


def way(deg: float) -> str:
    """Write a direction in half degrees: `2.5 deg left`, or `straight`."""
    return ways(deg, deg)


def ways(start_deg: float, end_deg: float) -> str:
    """Write from where to where a direction goes: `1 to 3 deg left`, `1 deg right to 2 deg left`.

    Zero lies on either side. Of two that are shown alike one is written.
    """
    start, end = _steps(start_deg), _steps(end_deg)
    sides = {side for side in (_side(start), _side(end)) if side != "straight"}
    if not sides:
        return say("straight")
    if start == end:
        return say(f"to_{_side(start)}", deg=_figure(start))
    if len(sides) == 1:
        return say(f"both_{sides.pop()}", start=_figure(start), end=_figure(end))
    return say("from_to_ways", start=way(start), end=way(end))


def _what(row: Row) -> str:
    if _steps(row["swing_direction_turn_deg"]) == 0:
        return say("do_direction_none")
    key = "do_direction" if row["path_by"] == BY_GOLFER else "do_direction_right_handed"
    return say(key, turn=way(row["swing_direction_turn_deg"]))


def _why(row: Row) -> str:
    now, after = row["path_deg"], row["path_after_attack_deg"]
    words = {"change": typed_text(ATTACK_CHANGE_DEG), "likely": _likely(row)}
    if _steps(now) == _steps(after):
        moved = say("path_stays", path=way(now), **words)
    else:
        moved = say("path_moves", path=ways(now, after), **words)
    return f"{moved} {say(_WHY[row['path_by']], plane=_figure(row['plane_deg']))}"


def _likely(row: Row) -> str:
    """Give the range of the path behind it, such as ` (likely 2 to 4 deg left)`; nothing where it isn't known."""
    ends = [row[f"path_after_attack_{end}90_deg"] for end in ("lo", "hi")]
    if None in ends:
        return ""
    # Both left: the one nearer to the line comes first.
    low, high = ends[::-1] if _steps(ends[1]) <= 0 else ends
    return say("path_likely", path=ways(low, high))


def _other_hand(row: Row) -> str:
    """Say what is different for a left-handed swing, whose path turns as far to the other side."""
    after = 2 * row["path_deg"] - row["path_after_attack_deg"]
    if _steps(after) == 0:
        return say("left_handed_straight")
    return say("left_handed", after=way(after), turn=way(-after))


def _start(row: Row) -> str | None:
    start, axis = row["start_direction_deg"], row["spin_axis_deg"]
    if start is None or axis is None:
        return None
    if _steps(axis) == 0:
        return say("starts_no_bend", start=_of_the_line(start))
    return say(f"starts_bends_{_side(axis)}", start=_of_the_line(start), axis=_figure(axis))


def _of_the_line(start_deg: float) -> str:
    return say("on_the_line") if _steps(start_deg) == 0 else say("off_the_line", way=way(start_deg))


def _steps(deg: float) -> float:
    return rounded_one(deg, ANGLE_STEP_DEG)


def _figure(deg: float) -> str:
    return typed_text(abs(_steps(deg)))


def _side(deg: float) -> str:
    steps = _steps(deg)
    return "straight" if steps == 0 else "right" if steps > 0 else "left"
