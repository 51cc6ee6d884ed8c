"""How often a golfer reaches the goal: shares of drives and the distances that most, half and few of them carry."""

from typing import Any

from pipeline.report.page.ground import Row

DIGITS = 4  # of a share, which the page shows in tenths


def reaching_of(row: Row) -> dict[str, Any] | None:
    """Give how often the goal of a row of `Goals` is reached.

    Returns
    -------
    dict or None
        Shares of drives that carry the goal: `today` with `lo` and `hi`, the ends of its interval, `efficient` and
        `at_goal_speed`; `nine_yd`, `five_yd` and `one_yd`, the carry that as many of ten of today's drives reach;
        `from`, what they rest on (see `Goals`). None where nothing is known.
    """
    if row["share_reaching"] is None:
        return None
    shares = {"today": "share_reaching", "lo": "share_reaching_lo90", "hi": "share_reaching_hi90"}
    shares |= {"efficient": "share_efficient", "at_goal_speed": "share_at_goal_speed"}
    return {
        **{name: _rounded(row[column], DIGITS) for name, column in shares.items()},
        **{f"{number}_yd": _rounded(row[f"{number}_of_ten_yd"], 3) for number in ("nine", "five", "one")},
        "from": row["share_from"],
    }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
