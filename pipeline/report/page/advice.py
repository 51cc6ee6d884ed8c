"""What a golfer might do, by what costs the yards: contact and consistency as well as launch and spin.

Each piece of advice says what to do, why, and what to try on the range. The first one fits the main cause. Where no
part stands out, the larger parts are taken one after the other. Launch and spin together are the delivery; what loft
and attack may bring is said with those two alone, and only where it points the way that launch or spin has to go.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pipeline.fit.usual_delivery import UsualDelivery
from pipeline.report.page.direction_part import turn_of
from pipeline.report.page.said import say
from pipeline.shown import (
    ANGLE_STEP_DEG,
    IMPERIAL,
    Units,
    angle_figure,
    ratio_text,
    rounded_one,
    spin_figure,
    typed_text,
    whole,
)
from pipeline.tables.golfers import PARTS
from pipeline.texts.better import better_golfers

CAUSES = ("contact", "launch", "spin", "consistency")
# A part is worth a word from these shown yards on, as a cause is (`pipeline.golfers.causes.NAMED_FROM_YD`).
NAMED_FROM_YD = 2
# A second and third part are worth working on from half of the yards at which a golfer is flagged. So 15 of the demo's
# 43 flagged get a second piece of advice and 2 a third; from a quarter of the yards on it would be 24 and 10, from
# three quarters on 1 and none.
ALSO_SHARE = 0.5
MOST_ADVICE = 3
# Of launch and spin: the column, and how it is written.
_COLUMNS = {"launch": "launch_deg", "spin": "spin_rpm"}
_FIGURES = {"launch": angle_figure, "spin": spin_figure}

Row = Mapping[str, Any]
Advice = dict[str, str]


@dataclass(frozen=True)
class Circumstances:
    """What advice goes by beside a row of `Golfers`.

    Attributes
    ----------
    best_launch_deg, best_spin_rpm : float or None
        The delivery of most carry at the golfer's club speed; None where the benchmarks don't reach.
    better_ratio : float or None
        Speed ratio of an efficient strike among golfers near that speed; None without ball speed, and of old quarters.
    poorer_yd : float or None
        How far the poorest fifth of drives falls short of the typical one.
    loft : mapping or None
        The golfer's row of `Delivery`.
    threshold_yd : float
    min_shots : int
    units : Units
        In which distances and speeds are said; parts are compared in shown units.
    strike : float
        The quantile of golfers that `better_ratio` is.
    """

    best_launch_deg: float | None
    best_spin_rpm: float | None
    better_ratio: float | None
    poorer_yd: float | None
    loft: Row | None
    threshold_yd: float
    min_shots: int
    units: Units = IMPERIAL
    strike: float = UsualDelivery.strike

    @property
    def threshold(self) -> float:
        """Give the threshold in the units in which it is said."""
        return self.threshold_yd / self.units.yd_each


def advice_of(row: Row, about: Circumstances) -> list[Advice]:
    """Say what a golfer might do, the most useful first.

    Parameters
    ----------
    row : mapping
        A row of `Ground.golfers`.
    about : Circumstances

    Returns
    -------
    list of dict
        what, why and try; one at least, `MOST_ADVICE` at most.
    """
    if row["status"] == "not_assessed":
        return [_unassessed(row, about)]
    parts = shown_parts(row)
    found = [_one(name, parts[name], row, about) for name in worked_on(row, parts, about.threshold)]
    if not found:
        return [_nothing(row, about.units)]
    if not row["flagged"]:
        found[0]["why"] += " " + _doubt(row, about)
    return found


def task_of(row: Row, about: Circumstances) -> str:
    """Say what the first piece of `advice_of` is about, without the rest of it."""
    if row["status"] == "not_assessed":
        return _unassessed_task(row, about)
    names = worked_on(row, shown_parts(row), about.threshold)
    return _task(names[0], row, about) if names else say("do_none")


def _doubt(row: Row, about: Circumstances) -> str:
    lost, high = row["shown_lost_yd"] or 0, row["lost_hi90_yd"]
    if high is not None and high <= about.threshold_yd:
        return say("small", about.units, lost=f"{lost}")
    return say("maybe", about.units, threshold=typed_text(rounded_one(about.threshold, 0.1)))


_SHOWN = tuple((part.removeprefix("lost_").removesuffix("_yd"), f"shown_{part}") for part in PARTS)


def shown_parts(row: Row) -> dict[str, int]:
    """Give the known parts of the yards lost of a row of `Ground.golfers` as shown, by cause and other; they add up."""
    return {name: row[column] for name, column in _SHOWN if row[column] is not None}


def way_of(cause: str, row: Row, about: Circumstances) -> str:
    """Say which way launch or spin is off: `_low`, `_high`, or nothing where it can't be said or isn't shown."""
    if cause not in _FIGURES:
        return ""
    best, now, figure = _best(cause, about), row[_COLUMNS[cause]], _FIGURES[cause]
    if best is None or now is None or figure(best) == figure(now):
        return ""
    return "_low" if now < best else "_high"


def largest_parts(parts: Mapping[str, int]) -> list[str]:
    """Name the parts worth a word, the largest first; other, which nobody can work on, isn't among them."""
    worth = [name for name in CAUSES if parts.get(name, 0) >= NAMED_FROM_YD]
    return sorted(worth, key=lambda name: -parts[name])


def worked_on(row: Row, parts: Mapping[str, int], threshold: float) -> list[str]:
    """Name the parts to work on: the main cause first, then what else costs enough; nobody is sent after nothing."""
    by_size, cause = largest_parts(parts), row["main_cause"]
    if cause == "none":
        return []
    worth = [name for name in by_size if parts[name] >= ALSO_SHARE * threshold]
    if cause in parts:
        return [cause, *(name for name in worth if name != cause)][:MOST_ADVICE]
    if not row["flagged"]:
        return worth[:MOST_ADVICE]
    unexplained = ["other"] if parts.get("other", 0) >= ALSO_SHARE * threshold else []
    return [*(worth or by_size[:1]), *unexplained][:MOST_ADVICE]


def _task(name: str, row: Row, about: Circumstances) -> str:
    if name == "other":
        return say("do_ball" if row["ball_speed_mph"] is None else "do_other")
    if name not in ("launch", "spin"):
        return say(f"do_{name}")
    best, way = _best(name, about), way_of(name, row, about)
    if best is None or not way:
        return say(f"do_{name}_unknown")
    return say(f"do_{name}{way}", best=_FIGURES[name](best))


def _best(name: str, about: Circumstances) -> float | None:
    return about.best_launch_deg if name == "launch" else about.best_spin_rpm


def _one(name: str, part: int, row: Row, about: Circumstances) -> Advice:
    if name == "contact":
        why, how = _contact(part, row, about)
    elif name == "consistency":
        why, how = _consistency(part, about)
    elif name == "other":
        key = "ball" if row["ball_speed_mph"] is None else "other"
        why, how = say(f"because_{key}", about.units, part=f"{part}"), say(f"try_{key}")
    else:
        why, how = _delivery(name, part, row, about)
    return {"what": _task(name, row, about), "why": why, "try": how}


def _contact(part: int, row: Row, about: Circumstances) -> tuple[str, str]:
    key, words = "because_contact_plain", {}
    if row["ball_speed_mph"] is not None and (better := about.better_ratio) is not None:
        ratio = row["ball_speed_mph"] / row["club_speed_mph"]
        words = {"ratio": ratio_text(ratio), "better": ratio_text(better)}
        words["golfers"] = better_golfers(about.strike)
        key = "because_contact" if words["ratio"] < words["better"] else "because_contact_good"
    return say(key, about.units, part=f"{part}", **words), say("try_contact")


def _consistency(part: int, about: Circumstances) -> tuple[str, str]:
    poorer = 0 if about.poorer_yd is None else about.units.distance_whole(about.poorer_yd)
    key = "because_consistency" if poorer > 0 else "because_consistency_plain"
    return say(key, about.units, part=f"{part}", poorer=f"{poorer}"), say("try_consistency")


def _delivery(name: str, part: int, row: Row, about: Circumstances) -> tuple[str, str]:
    best, way, figure = _best(name, about), way_of(name, row, about), _FIGURES[name]
    if best is None or not way:
        return say(f"because_{name}_unknown", about.units, part=f"{part}"), say("try_delivery")
    now = row[_COLUMNS[name]]
    why = say(f"because_{name}", about.units, part=f"{part}", now=figure(now), best=figure(best))
    return why, " ".join([say(f"try_{name}{way}"), *_loft(name, way, about.loft, about.units)])


def _loft(name: str, way: str, loft: Row | None, units: Units) -> Iterator[str]:
    """Say what loft and attack may bring, where they move launch or spin the way it has to go."""
    if loft is None:
        return
    # More loft launches higher with more spin, less loft lower with less.
    more = way == "_low"
    helps = loft["advice"] == ("more loft" if more else "less loft")
    if helps:
        change = loft["loft_change_deg"]
        words = {"change": _degrees(change), "way": say("more" if change > 0 else "less")}
        key = "try_loft_impact" if loft["loft_by"] == "impact" else "try_loft"
        yield say(key, units, **words, gain=units.distance_figure(loft["gain_yd"]))
    # Hitting up launches higher, with less spin.
    up = more if name == "launch" else not more
    if up and loft["attack_gain_yd"] is not None and whole(loft["attack_gain_lo90_yd"]) > 0:
        yield say(
            "try_attack_top" if helps else "try_attack",
            units,
            change=_degrees(loft["attack_change_deg"]),
            loft=_with_loft(loft["attack_loft_change_deg"]),
            gain=units.distance_figure(loft["attack_gain_yd"]),
        )
        if turn := turn_of(loft):
            yield turn


def _with_loft(change_deg: float) -> str:
    if change_deg == 0:
        return say("todays_loft")
    return say("loft_by", change=_degrees(change_deg), way=say("more" if change_deg > 0 else "less"))


def _degrees(change_deg: float) -> str:
    size = typed_text(abs(rounded_one(change_deg, ANGLE_STEP_DEG)))
    return say("one_degree") if size == "1" else say("degrees", n=size)


def _unassessed_task(row: Row, about: Circumstances) -> str:
    missing = about.min_shots - row["shots"]
    if missing > 0:
        return say("do_few_one") if missing == 1 else say("do_few", more=f"{missing}")
    return say("do_beyond")


def _unassessed(row: Row, about: Circumstances) -> Advice:
    task = _unassessed_task(row, about)
    if row["shots"] < about.min_shots:
        drives = f"{row['shots']}"
        return {
            "what": task,
            "why": say(
                "because_few_one" if drives == "1" else "because_few", shots=drives, min_shots=f"{about.min_shots}"
            ),
            "try": say("try_few"),
        }
    speed = about.units.speed_figure(row["club_speed_mph"])
    why = say("because_beyond", about.units, speed=speed)
    return {"what": task, "why": why, "try": say("try_beyond")}


def _nothing(row: Row, units: Units) -> Advice:
    lost = row["shown_lost_yd"] or 0
    why = (
        say("because_none", units, lost=f"{lost}") if lost > 0 else say("because_ahead" if lost < 0 else "because_even")
    )
    return {"what": say("do_none"), "why": why, "try": say("try_none")}
