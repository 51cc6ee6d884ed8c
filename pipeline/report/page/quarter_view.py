"""The quarter on one screen: three sentences, whom to see first, good news, goals reached, who wasn't assessed."""

from collections.abc import Iterator
from statistics import median
from typing import Any

import polars as pl

from pipeline.drives import KEYS
from pipeline.report.page.advice import CAUSES, largest_parts, shown_parts, task_of, way_of
from pipeline.report.page.counts import counts_of
from pipeline.report.page.ground import GOLFERS_AT_ONCE, Chunk, Ground, Row
from pipeline.report.page.moves import moves_of
from pipeline.report.page.said import capital, listed, people, say, spaced
from pipeline.report.page.sureness import LIKELY, SURE
from pipeline.shown import Units, number_text, rounded_one, typed_text, whole
from pipeline.tables.goals import Goals
from pipeline.tables.progress import Progress

MOST_FIRST = 5
FEW = 5  # golfers from which "half of them" says something
FEW_DRIVES, BEYOND = "few_drives", "beyond"


def quarter_of(ground: Ground) -> dict[str, Any]:
    """Give everything of the first screen; see the parts' own functions.

    Returns
    -------
    dict
        sentences (what changed, what costs most, whom to see first), first, good, goals_reached, unassessed, counts,
        causes (main causes of the flagged), moves, and rules: in words, how the first are picked and what sure means.
    """
    counts = counts_of(ground.states, ground.newest)
    first, causes = first_to_see(ground), causes_of(ground)
    return {
        "sentences": [changed(ground, counts), costs_most(ground, causes), whom_first(ground, first)],
        "first": first,
        "good": good_news(ground),
        "goals_reached": goals_reached(ground),
        "unassessed": unassessed(ground),
        "counts": counts,
        "causes": causes,
        "moves": moves_of(ground.golfers),
        "rules": {"first": say("rule_first"), "sure": say("rule_sure", ground.units, threshold=_threshold(ground))},
    }


def _threshold(ground: Ground) -> str:
    return typed_text(rounded_one(ground.threshold, 0.1))


def changed(ground: Ground, counts: dict[str, Any]) -> str:
    """Say how many are flagged and how that came from the quarter before; the numbers in it add up."""
    if ground.assessed.is_empty():
        return say("changed_nobody")
    now, then = counts["flagged_now"], counts["flagged_before"]
    words = {"now": capital(people(now["total"])), "are": say("is" if now["total"] == 1 else "are")}
    if ground.before is None:
        quarter = spaced(ground.newest)
        return (
            say("changed_first", **words, quarter=quarter)
            if now["total"]
            else say("changed_none_first", quarter=quarter)
        )
    quarter = spaced(ground.before)
    if now["total"] == then["total"] == now["still"] and _assessed_in(ground, ground.before):
        return say("changed_same", **words, quarter=quarter) if now["total"] else say("changed_none", quarter=quarter)
    before = _before(then, quarter, anybody=_assessed_in(ground, ground.before))
    parts = [(name, now[name]) for name in ("still", "new", "first_seen") if now[name]]
    if len(parts) < 2:
        return say(f"changed_{parts[0][0] if parts else 'none_now'}", **words, before=before, quarter=quarter)
    told = [say(f"part_{name}", n=f"{number:,}", quarter=quarter) for name, number in parts]
    return say("changed", **words, parts=listed(told), before=before)


def _assessed_in(ground: Ground, quarter: str) -> bool:
    return not ground.golfers.filter((pl.col("quarter") == quarter) & (pl.col("status") != "not_assessed")).is_empty()


def _before(then: dict[str, int], quarter: str, *, anybody: bool) -> str:
    """Say what became of those who were flagged in the quarter before, or that nobody was, or could be."""
    every, parts = then["total"], {name: number for name, number in then.items() if name != "total" and number}
    if every == 0:
        return say("before_none" if anybody else "before_unassessed", quarter=quarter)
    if len(parts) == 1:
        key = "before_one" if every == 1 else "before_every"
        return say(key, quarter=quarter, part=say(f"only_{next(iter(parts))}"))
    told = [say(f"then_{name}{'_one' if number == 1 else ''}", n=f"{number:,}") for name, number in parts.items()]
    return say("before", n=f"{every:,}", quarter=quarter, parts=listed(told))


def causes_of(ground: Ground) -> list[dict[str, Any]]:
    """Count the flagged by main cause, the commonest first.

    Returns
    -------
    list of dict
        cause; golfers, their number; yards, the median of what the cause takes from each of them, in shown yards, None
        for mixed. Of causes with as many golfers the one that takes more comes first.
    """
    flagged = ground.now.filter("flagged")
    counted = flagged.group_by("main_cause", maintain_order=True).len().iter_rows()
    told = [
        {"cause": cause, "golfers": number, "yards": _usual_part(flagged, cause) if cause in CAUSES else None}
        for cause, number in counted
    ]
    return sorted(told, key=lambda one: (-one["golfers"], -(one["yards"] or 0), one["cause"]))


def costs_most(ground: Ground, causes: list[dict[str, Any]]) -> str:
    """Say which cause most of the flagged have and what a golfer loses by it, or what stands in its place."""
    every = sum(one["golfers"] for one in causes)
    named = [one for one in causes if one["cause"] in CAUSES]
    if every == 0:
        return _costs_nothing(ground)
    if not named:
        return say("costs_mixed_one") if every == 1 else say("costs_mixed", all=f"{every:,}")
    top = [one for one in named if one["golfers"] == named[0]["golfers"]]
    yards = [f"{one['yards']}" for one in top]
    alike = yards[:1] if len(set(yards)) == 1 else yards
    words = {"n": f"{top[0]['golfers']:,}", "all": f"{every:,}", "yards": listed(alike)}
    causes_told = capital(listed([say(f"cause_{one['cause']}") for one in top]))
    number = top[0]["golfers"]
    if len(top) > 1:
        return say("costs_tied" if number > 1 else "costs_tied_once", ground.units, causes=causes_told, **words)
    key = "costs_one" if every == 1 else "costs_all" if number == every else "costs_once" if number == 1 else "costs"
    return say(key, ground.units, cause=causes_told, **words)


def _costs_nothing(ground: Ground) -> str:
    lost = ground.assessed.get_column("shown_lost_yd").fill_null(0).to_list()
    if not lost:
        return say("costs_unknown", min_shots=f"{ground.min_shots}")
    middle = whole(median(lost))
    if len(lost) < FEW or middle < 1:
        return say("costs_clear_few")
    return say("costs_clear", ground.units, n=f"{len(lost):,}", yards=f"{middle}")


def _usual_part(flagged: pl.DataFrame, cause: str) -> int:
    """Give the median of what a cause takes from the golfers whose main cause it is, in shown yards."""
    return whole(median(flagged.filter(pl.col("main_cause") == cause).get_column(f"shown_lost_{cause}_yd").to_list()))


def whom_first(ground: Ground, first: list[dict[str, Any]]) -> str:
    """Name the first golfer to see by the short code, which the page can replace by a name, and say why."""
    if not first:
        waiting = ground.now.height - ground.assessed.height
        if waiting < ground.now.height:
            return say("see_none")
        return say("see_unassessed_one") if waiting == 1 else say("see_unassessed", n=f"{waiting:,}")
    one = first[0]
    sure = say({SURE: "sure", LIKELY: "likely"}.get(one["sure"], "cant_tell"))
    return say("see", golfer=ground.short(one["golfer"]), why=one["why"], sure=sure)


def first_to_see(ground: Ground) -> list[dict[str, Any]]:
    """Pick the golfers to see first.

    The rule: of the newest quarter's flagged, those with the most yards that are surely there, which is the low end of
    the yards lost with luck taken out (without it, of the yards lost). So a golfer who loses 38 yd, give or take 16,
    comes after one who loses 36, give or take 3. By yards lost alone, two of the demo's first five would be others.

    Returns
    -------
    list of dict
        golfer, cause, why, yards (value, lo and hi in whole yards), sure, do; `MOST_FIRST` at most.
    """
    surely = pl.coalesce("ranked_lo90_yd", "lost_lo90_yd", "lost_yd")
    chosen = ground.now.filter("flagged").sort(-surely, maintain_order=True).head(MOST_FIRST)
    return [_first(Chunk(ground, place, place + 1)) for place in chosen.get_column("place").to_list()]


def _first(chunk: Chunk) -> dict[str, Any]:
    """Tell the one golfer of a chunk."""
    [row], ground = chunk.now.values(), chunk.ground
    return {
        "golfer": row["golfer"],
        "cause": row["main_cause"],
        "why": why_first(row, ground),
        "yards": yards_of(row, ground),
        "sure": ground.sure(row),
        "do": task_of(row, ground.about(row)),
    }


def yards_of(row: Row, ground: Ground) -> dict[str, float | None]:
    """Give the yards lost of a row of `Ground.golfers` with their interval, as shown."""
    ends = (row["lost_lo90_yd"], row["lost_hi90_yd"])
    lo, hi = (None if end is None else ground.yd(ground.units.distance_whole(end)) for end in ends)
    return {"value": ground.yd(row["shown_lost_yd"]), "lo": lo, "hi": hi}


def why_first(row: Row, ground: Ground) -> str:
    """Say what takes the yards, in figures that add up as shown."""
    parts, units = shown_parts(row), ground.units
    lost = row["shown_lost_yd"] or 0
    cause = row["main_cause"]
    if cause in parts:
        costs = say(f"costs_{cause}{way_of(cause, row, ground.about(row))}")
        part, back = parts[cause], parts[cause] - lost
        if back > 0:
            return say("why_over", units, costs=costs, part=f"{part}", back=f"{back}", lost=f"{lost}")
        return say("why_some" if back else "why_all", units, costs=costs, part=f"{part}", lost=f"{lost}")
    named = [(say(f"cause_{name}"), f"{parts[name]}") for name in largest_parts(parts)]
    if not named:
        return say("why_none", units, lost=f"{lost}")
    words = {"lost": f"{lost}", "first": named[0][0], "first_yd": named[0][1]}
    if len(named) == 1:
        return say("why_mixed_one", units, **words)
    return say("why_mixed", units, **words, second=named[1][0], second_yd=named[1][1])


def good_news(ground: Ground) -> list[dict[str, Any]]:
    """Say who clearly got better, by the verdicts of `Progress`: yards lost first, then carry, speed, strike, delivery.

    Returns
    -------
    list of dict
        golfer; what, in words; measures, the names of those that got better. The most yards come first.
    """
    table = ground.tables.get(Progress)
    if table is None:
        return []
    any_better = pl.any_horizontal(pl.col(f"{name}_verdict").cast(pl.String) == "better" for name in ORDER)
    here = table.filter((pl.col("quarter") == ground.newest) & any_better)
    found = [one for some in here.iter_slices(GOLFERS_AT_ONCE) for one in _good_news(some, ground)]
    return [one for _, one in sorted(found, key=lambda pair: pair[0])]


def _good_news(some: pl.DataFrame, ground: Ground) -> Iterator[tuple[tuple[int, float], dict[str, Any]]]:
    """Give what to sort by, and the news, of some rows of `Progress`."""
    theirs = ground.golfers.join(some.select(pl.col("golfer").cast(pl.String)), on="golfer", how="semi")
    shown = theirs.select(*KEYS, *(name for one in STEPPED for name in (f"{one}_yd", f"shown_{one}_yd")))
    quarters = {(row["golfer"], row["quarter"]): row for row in shown.to_dicts()}
    for row in some.to_dicts():
        golfer, order = row["golfer"], [name for name in ORDER if row[f"{name}_verdict"] == "better"]
        now, then = (quarters.get((golfer, row[when])) for when in ("quarter", "since"))
        steps = shown_steps(row, now, then, ground.units)
        words = listed([_better(name, row, steps, ground.units) for name in order])
        yield (ORDER.index(order[0]), -_gained(row)), {"golfer": golfer, "what": words, "measures": order}


# Two ways to the same figure differ by rounding alone up to here, in yards.
SAME_YD = 1e-6
ORDER = ("lost", "carry", "club_speed", "speed_ratio", "launch", "spin")
STEPPED = ("lost", "carry")  # measures whose change is that of shown figures


def _gained(row: Row) -> float:
    return max(-(row["lost_change_yd"] or 0.0), row["carry_change_yd"] or 0.0)


def _better(name: str, row: Row, steps: dict[str, int | None], units: Units) -> str:
    if name in STEPPED:
        return say(f"good_{name}", units, yards=f"{abs(steps[name] or 0)}")
    if name == "club_speed":
        return say("good_club_speed", units, speed=number_text(row["club_speed_change_mph"] / units.mph_each, 1))
    return say(f"good_{name}")


def shown_steps(row: Row, now: Row | None, then: Row | None, units: Units) -> dict[str, int | None]:
    """Give the changes of carry and yards lost of a row of `Progress` as the shown figures of its two quarters differ.

    A change that isn't the plain difference of the two quarters' figures is rounded on its own. `now` and `then` are
    the golfer's rows of `Ground.golfers` in the two quarters.
    """
    steps: dict[str, int | None] = {}
    for name in STEPPED:
        change = row[f"{name}_change_yd"]
        steps[name] = None if change is None else units.distance_whole(change)
        if change is None or now is None or then is None:
            continue
        ends = (now[f"{name}_yd"], then[f"{name}_yd"])
        if None not in ends and abs(ends[0] - ends[1] - change) <= SAME_YD:
            shown = [one[f"shown_{name}_yd"] or 0 for one in (now, then)]
            steps[name] = shown[0] - shown[1]
    return steps


def goals_reached(ground: Ground) -> list[str]:
    """Name the golfers who have reached their goal."""
    table = ground.tables.get(Goals)
    if table is None:
        return []
    newest = pl.col("quarter") == ground.newest if "quarter" in table.columns else pl.lit(True)
    return table.filter(newest & (pl.col("reach").cast(pl.String) == "reached")).get_column("golfer").to_list()


def reason_of(row: Row, min_shots: int) -> str:
    """Say why a golfer wasn't assessed: few_drives or beyond."""
    return FEW_DRIVES if row["shots"] < min_shots else BEYOND


def unassessed(ground: Ground) -> list[dict[str, Any]]:
    """Say why golfers weren't assessed, the commonest reason first, each with its golfers."""
    behind: dict[str, list[str]] = {}
    waiting = ground.now.filter(pl.col("status") == "not_assessed").select("golfer", "shots")
    for row in waiting.iter_rows(named=True):
        behind.setdefault(reason_of(row, ground.min_shots), []).append(row["golfer"])
    by_size = sorted(behind.items(), key=lambda pair: (-len(pair[1]), pair[0]))
    return [{"reason": say(reason, min_shots=f"{ground.min_shots}"), "golfers": golfers} for reason, golfers in by_size]
