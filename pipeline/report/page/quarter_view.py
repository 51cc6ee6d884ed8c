"""The quarter on one screen: three sentences, whom to see first, good news, goals reached, who wasn't assessed."""

from collections import Counter
from typing import Any

from pipeline.coach.progress.measures import MEASURES
from pipeline.report.page.advice import advice_of, largest_parts, shown_parts, way_of
from pipeline.report.page.counts import counts_of
from pipeline.report.page.ground import Ground, Row
from pipeline.report.page.moves import moves_of
from pipeline.report.page.said import capital, listed, people, say, spaced
from pipeline.report.page.sureness import LIKELY, SURE
from pipeline.report.shown_sums import shown_losses
from pipeline.shown import number_text, whole
from pipeline.tables.goals import Goals
from pipeline.tables.progress import Progress

MOST_FIRST = 5
FEW_DRIVES, BEYOND = "few_drives", "beyond"


def quarter_of(ground: Ground) -> dict[str, Any]:
    """Give everything of the first screen; see the parts' own functions."""
    counts = counts_of(ground.states, ground.newest)
    first = first_to_see(ground)
    return {
        "sentences": [changed(ground, counts), costs_most(ground), whom_first(ground, first)],
        "first": first,
        "good": good_news(ground),
        "goals_reached": goals_reached(ground),
        "unassessed": unassessed(ground),
        "counts": counts,
        "moves": moves_of(ground.golfers),
    }


def changed(ground: Ground, counts: dict[str, Any]) -> str:
    """Say how many are flagged and how that came from the quarter before; the numbers in it add up."""
    now, before = counts["flagged_now"], counts["flagged_before"]
    assessed = sum(1 for row in ground.now.values() if row["status"] != "not_assessed")
    if assessed == 0:
        return say("changed_nobody")
    told = capital(people(now["total"]))
    if ground.before is None:
        key = "changed_first" if now["total"] else "changed_none_first"
        return say(key, now=told, quarter=spaced(ground.newest))
    if now["total"] == before["total"] == 0:
        return say("changed_none", quarter=spaced(ground.before))
    parts = [(name, now[name]) for name in ("still", "new", "first_seen")]
    parts += [(name, before[name]) for name in ("no_longer", "not_assessed", "not_seen")]
    words = listed([say(f"part_{name}", n=f"{number:,}") for name, number in parts if number])
    key = "changed_same" if now["total"] == before["total"] else "changed"
    return say(key, now=told, before=f"{before['total']:,}", quarter=spaced(ground.before), parts=words)


def costs_most(ground: Ground) -> str:
    """Say which cause most of the flagged have and what a golfer loses by it, or what stands in its place."""
    flagged = [row for row in ground.now.values() if row["flagged"]]
    if not flagged:
        assessed = [row["lost_yd"] for row in ground.now.values() if row["status"] != "not_assessed"]
        if not assessed:
            return say("costs_unknown", min_shots=f"{ground.min_shots}")
        return say("costs_none")
    counts = Counter(row["main_cause"] for row in flagged if row["main_cause"] not in ("mixed", "none"))
    if not counts:
        return say("costs_mixed", all=people(len(flagged)))
    most = max(counts.values())
    # By yards where causes have as many golfers, so that the sentence names one.
    yards = {cause: _usual_part(flagged, cause) for cause, number in counts.items() if number == most}
    cause = max(yards, key=lambda name: yards[name])
    return say(
        "costs",
        cause=capital(say(f"cause_{cause}")),
        n=f"{most:,}",
        all=f"{len(flagged):,}",
        yards=f"{yards[cause]}",
    )


def _usual_part(flagged: list[Row], cause: str) -> int:
    """Give the median of what a cause takes from the golfers whose main cause it is, in shown yards."""
    parts = sorted(shown_parts(row)[cause] for row in flagged if row["main_cause"] == cause)
    return whole((parts[(len(parts) - 1) // 2] + parts[len(parts) // 2]) / 2)


def whom_first(ground: Ground, first: list[dict[str, Any]]) -> str:
    """Name the first golfer to see and why; the golfer stands as `{g...}`, which the page fills with code or name."""
    if not first:
        waiting = sum(1 for row in ground.now.values() if row["status"] == "not_assessed")
        return say("see_unassessed", n=f"{waiting:,}") if waiting == len(ground.now) else say("see_none")
    one = first[0]
    sure = {SURE: "surely", LIKELY: "likely"}.get(one["sure"], "cant_tell")
    words = {
        "golfer": ground.short(one["golfer"]),
        "yards": f"{one['yards']['value']}",
        "sure": say(sure, threshold=f"{ground.threshold_yd:g}"),
    }
    if one["cause"] in ("mixed", "none"):
        return say("see_mixed", **words)
    return say("see", **words, cause=say(f"cause_{one['cause']}"))


def first_to_see(ground: Ground) -> list[dict[str, Any]]:
    """Pick the golfers to see first.

    The rule: of the newest quarter's flagged, those with the most yards that are surely there, which is the low end of
    the yards lost with luck taken out (without it, of the yards lost). So a golfer who loses 38 yd, give or take 16,
    comes after one who loses 36, give or take 3.

    Returns
    -------
    list of dict
        golfer, cause, why, yards (value, lo and hi in whole yards), sure, do; `MOST_FIRST` at most.
    """
    flagged = [row for row in ground.now.values() if row["flagged"]]
    chosen = sorted(flagged, key=lambda row: (-_surely(row), row["golfer"]))[:MOST_FIRST]
    return [
        {
            "golfer": row["golfer"],
            "cause": row["main_cause"],
            "why": why_first(row, ground),
            "yards": yards_of(row),
            "sure": ground.sure(row),
            "do": advice_of(row, ground.about(row))[0]["what"],
        }
        for row in chosen
    ]


def _surely(row: Row) -> float:
    low = row["ranked_lo90_yd"] if row["ranked_lo90_yd"] is not None else row["lost_lo90_yd"]
    return float(row["lost_yd"] if low is None else low)


def yards_of(row: Row) -> dict[str, int | None]:
    """Give the yards lost of a row of `Golfers` with their interval, as shown."""
    ends = {name: row[f"lost_{name}90_yd"] for name in ("lo", "hi")}
    return {"value": shown_losses(row)["lost_yd"]} | {
        name: None if end is None else whole(end) for name, end in ends.items()
    }


def why_first(row: Row, ground: Ground) -> str:
    """Say what takes the yards, in figures that add up as shown."""
    parts, lost = shown_parts(row), shown_losses(row)["lost_yd"] or 0
    cause, about = row["main_cause"], ground.about(row)
    if cause in parts:
        part, way = parts[cause], way_of(cause, row, about)
        if part <= lost:
            return say(f"why_{cause}{way}", part=f"{part}", lost=f"{lost}")
        over = say(f"over_{cause}{way}", part=f"{part}")
        return say("over", over=over, back=f"{part - lost}", lost=f"{lost}")
    largest = largest_parts(parts)
    named = [(capital(say(f"cause_{name}")), f"{parts[name]}") for name in largest]
    if not named:
        return say("why_none", lost=f"{lost}")
    if len(named) == 1:
        return say("why_mixed_one", first=named[0][0], first_yd=named[0][1], lost=f"{lost}")
    second = say(f"cause_{largest[1]}")
    return say("why_mixed", first=named[0][0], first_yd=named[0][1], second=second, second_yd=named[1][1], lost=f"{lost}")


def good_news(ground: Ground) -> list[dict[str, Any]]:
    """Say who clearly got better, by the verdicts of `Progress`: yards lost first, then carry, speed, strike, delivery.

    Returns
    -------
    list of dict
        golfer; what, in words; measures, the names of those that got better. The most yards come first.
    """
    found = []
    for golfer, row in ground.by_golfer(Progress).items():
        better = [measure.name for measure in MEASURES if row[f"{measure.name}_verdict"] == "better"]
        if better:
            order = sorted(better, key=ORDER.index)
            words = listed([_better(name, row) for name in order])
            found.append(
                ((ORDER.index(order[0]), -_gained(row), golfer), {"golfer": golfer, "what": words, "measures": order})
            )
    return [one for _, one in sorted(found, key=lambda pair: pair[0])]


ORDER = ("lost", "carry", "club_speed", "speed_ratio", "launch", "spin")


def _gained(row: Row) -> float:
    return max(-(row["lost_change_yd"] or 0.0), row["carry_change_yd"] or 0.0)


def _better(name: str, row: Row) -> str:
    if name == "lost":
        return say("good_lost", yards=number_text(-row["lost_change_yd"]))
    if name == "carry":
        return say("good_carry", yards=number_text(row["carry_change_yd"]))
    if name == "club_speed":
        return say("good_club_speed", speed=number_text(row["club_speed_change_mph"], 1))
    return say(f"good_{name}")


def goals_reached(ground: Ground) -> list[str]:
    """Name the golfers who have reached their goal."""
    return sorted(golfer for golfer, row in ground.by_golfer(Goals).items() if row["reach"] == "reached")


def reason_of(row: Row, min_shots: int) -> str:
    """Say why a golfer wasn't assessed: few_drives or beyond."""
    return FEW_DRIVES if row["shots"] < min_shots else BEYOND


def unassessed(ground: Ground) -> list[dict[str, Any]]:
    """Say why golfers weren't assessed, the commonest reason first, each with its golfers."""
    behind: dict[str, list[str]] = {}
    for golfer, row in ground.now.items():
        if row["status"] == "not_assessed":
            behind.setdefault(reason_of(row, ground.min_shots), []).append(golfer)
    by_size = sorted(behind.items(), key=lambda pair: (-len(pair[1]), pair[0]))
    return [
        {"reason": say(reason, min_shots=f"{ground.min_shots}"), "golfers": sorted(golfers)}
        for reason, golfers in by_size
    ]
