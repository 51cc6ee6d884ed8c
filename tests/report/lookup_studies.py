"""Studies with a real reach for tests of the coach's page: answers by the package, and the page that should agree."""

from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
import polars as pl
from frontiers import frontier_at

from pipeline.benchmark.drives_near import drives_near
from pipeline.benchmark.efficient import best_on_grid
from pipeline.benchmark.frontier import WINDOW_EDGES, Frontier
from pipeline.benchmark.frontier_here import frontier_in
from pipeline.benchmark.landing import EfficientLandings
from pipeline.benchmark.lookup import look_up
from pipeline.benchmark.lookup_command import Asked, place_of
from pipeline.benchmark.reach import NODE_EVERY, Reach, between_nodes
from pipeline.benchmark.reaching import usual_here
from pipeline.benchmark.run_and_conditions import Place
from pipeline.benchmark.window import largest_window
from pipeline.coach.goals.goal_shares import TENTHS
from pipeline.coach.goals.needed_speed import PRESENT_COLUMNS, DistanceCurve, Present
from pipeline.coach.goals.one_goal import Study, Wish, plan_one, present_at, present_of_drive
from pipeline.coach.goals.one_share import shares_of_one, usual_of_drive
from pipeline.coach.goals.pace import Gain
from pipeline.fit.model import CarryModel, Delivery, FittedOn
from pipeline.flight.calibrate import Calibration
from pipeline.report.lookup.lookup_data import lookup_data
from pipeline.report.lookup.lookup_page import build_lookup_page
from pipeline.report.lookup.reaching import protected, reaching_data
from pipeline.statistics.drive_spread import LEVELS, UsualDrives, UsualReaching
from pipeline.texts.sentences import Sentence

AIR = {"temp_c": 20.0, "pressure_hpa": 980.0, "humidity": 0.4}
GAIN = Gain.of(0.8, 0.2, 0.9, 60, 140)
MIN_GOLFERS = 5
LAUNCH_DEG, SPIN_RPM = np.arange(6.0, 23.01, 0.25), np.arange(1200.0, 4401.0, 50.0)  # both end at a node
NODES = LAUNCH_DEG[::NODE_EVERY], SPIN_RPM[::NODE_EVERY]


@dataclass
class LookupStudy:
    """A model with a frontier that it really has, refits and a ball."""

    model: CarryModel
    frontier: Frontier
    refits: np.ndarray
    kept: Calibration
    gain: Gain | None = GAIN
    usual: UsualReaching | None = None

    @classmethod
    def of(cls, model, drives, *, speeds=None, turf="normal", coefficients="indoor-range-2001"):
        """Work the frontier out at standard conditions as the package does elsewhere; no speed at 90 and 91 mph."""
        speeds = np.array([v for v in range(70, 113) if v not in (90, 91)] if speeds is None else speeds, dtype=float)
        kept = Calibration(coefficients, 0.93, 1.04, None, None, [], 0, 0, None, None, "as published")
        random = np.random.default_rng(4)
        terms = len(model.coefficients)
        refits = model.coefficients + 0.003 * random.normal(size=(60, terms)) * (1 + np.abs(model.coefficients))
        place = place_of(kept, AIR, turf, Asked())
        return cls(model, _frontier(model, drives, speeds, place, turf), refits, kept)

    def page(self, path: Path):
        """Write the coach's page."""
        place = place_of(self.kept, self.frontier.air, self.frontier.turf, Asked())
        reaching = reaching_data(self.usual, self.model, MIN_GOLFERS)
        data = lookup_data(self.model, self.frontier, place, self.refits, self.gain, reaching)
        fitted = FittedOn(2400, 80, ("2026Q3",))
        page = build_lookup_page(
            data, study="hill-school", fitted_on=fitted, conditions="calm air", window_tolerance_yd=5
        )
        path.write_text(page, encoding="utf-8")
        return path

    def at(self, conditions):
        """Give the study in conditions, as the page names them."""
        return Here(self, place_of(self.kept, self.frontier.air, self.frontier.turf, Asked(**conditions)))


@dataclass
class Here:
    """A study in one place; answers by the package."""

    study: LookupStudy
    place: Place

    @cached_property
    def frontier(self):
        return frontier_in(self.study.frontier, self.study.model, self.place)

    def look_up(self, asked):
        known = {"launch_deg": asked["launch"], "spin_rpm": asked["spin"], "ball_speed_mph": asked["ball"]}
        return look_up(self.study.model, self.frontier, self.place, asked["club"], **known)

    def plan(self, wish):
        """Plan a goal as the command does with a drive, or with a row of golfers.csv."""
        carry = wish["distance"] == "carry"
        curve = self._curves[carry]
        study = Study("hill-school", self.study.model, self.study.refits, curve, self.place, self.study.gain)
        drive = (wish.get(name) for name in ("club", "launch", "spin", "ball"))
        asked = Wish(wish["goal_yd"], carry, *drive)
        remark, present = self._present(study, asked, wish.get("golfer"))
        right = plan_one(study, asked, present)
        before = remark and right["supported"] and remark.text()  # a refusal stands alone
        told = " ".join(text for text in (before, right["note"]) if text)
        return right | {"note": told or None}

    @cached_property
    def _curves(self):
        landings = EfficientLandings.of(self.frontier, self.study.model, self.place)
        return DistanceCurve.of_total(self.frontier, landings), DistanceCurve.of_carry(self.frontier)

    def reaching(self, wish):
        """Give how often drives like one reach a goal, from what the page has of golfers' drives.

        The distances that nine, five and one of ten reach, and the share with its interval; then the shares of
        `shares_of_one` where the command has them, or None. None for a drive without an answer.
        """
        told = UsualReaching(*(protected(one, MIN_GOLFERS) for one in vars(self.study.usual).values()))
        carry, model = wish["distance"] == "carry", self.study.model
        numbers = (np.nan if wish[name] is None else wish[name] for name in ("club", "ball", "launch", "spin"))
        club, ball, launch, spin = (np.array(number) for number in numbers)
        typed = Delivery(club, ball / club, launch, spin)
        if not self.look_up(wish)["supported"]:
            return None, None
        spread = usual_here(told, model, self.place, typed, self.study.frontier.moved_share, carry=carry)
        found = {
            "distances": [float(spread.distance_reached(share)[0]) for share in TENTHS.values()],
            "shares": [float(part[0]) for part in spread.share_reaching(wish["goal_yd"])],
        }
        curve = self._curves[carry]
        study = Study("hill-school", model, self.study.refits, curve, self.place, self.study.gain)
        asked = Wish(wish["goal_yd"], carry, *(wish[name] for name in ("club", "launch", "spin", "ball")))
        _, present = present_of_drive(study, asked)
        plan = plan_one(study, asked, present)
        if present is None or not plan["supported"]:
            return found, None
        shares = shares_of_one(study, asked, present, usual_of_drive(study, asked, present, told), plan)
        return found, {key: value for key, value in shares.items() if key not in TENTHS}

    def _present(self, study, asked, row):
        if row is None:
            return present_of_drive(study, asked)
        if row["status"] == "not_assessed":
            words = {"quarter": row["quarter"], "reason": row["note"]}
            return Sentence("notes", "not_assessed", words=words), None
        cells = {name: float(row[name]) if row[name] else None for name in PRESENT_COLUMNS}
        present = Present.of(pl.DataFrame([cells], schema=dict.fromkeys(cells, pl.Float64)), self.frontier, study.model)
        club = asked.club_speed_mph
        if club is None:
            return None, present
        remark = Sentence("notes", "other_speed", {"speed_mph": club}, {"quarter": row["quarter"]})
        return remark, present_at(study, present, club)


def _frontier(model, drives, speeds, place, turf):
    """Make what is efficient over an oval of deliveries about the usual one that drifts with the speed."""
    near = drives_near(drives, speeds, 5.0)
    masks, doubts, rows = [], [], []
    for speed in speeds:
        mask = _oval(model, speed)
        doubt = np.round(0.6 + 0.02 * (NODES[0][:, None] - 14) ** 2 + 3e-7 * (NODES[1] - 2600) ** 2, 2)
        masks.append(mask)
        doubts.append(doubt)
        rows.append(_efficient(model, place, speed, mask, 5.0 - between_nodes(doubt, mask.shape)))
    columns = {name: np.array([row[name] for row in rows]) for name in (rows[0] if rows else {})}
    carry = columns.pop("carry_yd", np.zeros(0))
    reach = Reach.of(LAUNCH_DEG, SPIN_RPM, masks, doubts)
    return replace(frontier_at(speeds, carry, near=near, reach=reach, air=AIR, turf=turf, **columns), moved_share=0.067)


def _oval(model, speed):
    launch = LAUNCH_DEG[:, None] - float(model.usual.launch(speed)) - 1.0
    spin = (SPIN_RPM - float(model.usual.spin(speed))) / 250
    return (launch / 3.5) ** 2 + (spin / 3.5) ** 2 - 0.5 * launch * spin / 12 < 1


def _efficient(model, place, speed, mask, slack_yd):
    carry = model.better_on_grid(float(speed), LAUNCH_DEG, SPIN_RPM)
    ball = float(speed * model.ratio(model.usual_at(np.array([speed])), "better")[0])
    launch, spin = np.broadcast_arrays(LAUNCH_DEG[:, None], SPIN_RPM)
    total = carry.copy()
    total[mask] += place.change_and_run_yd(np.full(mask.sum(), ball), launch[mask], spin[mask])[1]
    best, farthest = best_on_grid(mask, carry), best_on_grid(mask, total)
    window = largest_window(mask & (carry >= carry[best] - slack_yd), LAUNCH_DEG, SPIN_RPM)
    edges = {name: np.nan if window is None else getattr(window, name) for name in WINDOW_EDGES}
    return {
        "carry_yd": carry[best],
        "lo90_yd": carry[best] - 1.4,
        "hi90_yd": carry[best] + 1.3,
        "std_error_yd": 0.8,
        "launch_deg": LAUNCH_DEG[best[0]],
        "spin_rpm": SPIN_RPM[best[1]],
        "total_yd": total[farthest],
        "total_launch_deg": LAUNCH_DEG[farthest[0]],
        "total_spin_rpm": SPIN_RPM[farthest[1]],
        **edges,
    }


def usual_drives(spread_share, golfers=80):
    """Make how drives scatter: nine in ten sound, one in ten up to a third short."""
    sound = np.random.default_rng(6).normal(size=20_000)
    mishit = np.random.default_rng(7).random(20_000) < 0.1
    drives = np.where(mishit, sound - np.random.default_rng(8).uniform(2, 8, 20_000), sound)
    return UsualDrives(np.quantile(drives, LEVELS), spread_share, 10.0, (-0.003, -0.04), (0.01, 0.045), golfers)


def random_conditions(random):
    """Draw conditions, none of them or some, as the page names them."""
    drawn = {
        "temp_c": round(float(random.uniform(-8, 42)), 1),
        "wind_mph": round(float(random.uniform(-40, 40)), 1),
        "turf": str(random.choice(["soft", "normal", "firm"])),
    }
    drawn["altitude_m" if random.random() < 0.5 else "pressure_hpa"] = round(float(random.uniform(700, 1050)))
    if random.random() < 0.1:  # the altitude counts
        drawn |= {"altitude_m": 900.0, "pressure_hpa": 1000.0}
    given = {name: value for name, value in drawn.items() if random.random() < 0.6}
    return given or {"wind_mph": drawn["wind_mph"]}


def random_drive(random):
    """Draw a drive, most of them within the small world's reach; each part but club speed may not be known."""
    club = round(float(random.uniform(68, 114)), 1)
    drawn = {
        "ball": round(club * float(random.normal(1.46, 0.04)), 1),
        "launch": round(float(random.normal(14, 3)), 2),
        "spin": round(float(random.normal(2650, 600))),
    }
    return {"club": club} | {name: value if random.random() < 0.6 else None for name, value in drawn.items()}


def random_wish(random):
    """Draw a goal: of a drive, of a club speed or nothing alone, or of a golfer's row at its own or another speed."""
    distance = str(random.choice(["carry", "total"]))
    goal = round(float(random.uniform(150, 300)), 1)
    kind = random.integers(5)
    wish = {"goal_yd": goal, "distance": distance, "club": None, "ball": None, "launch": None, "spin": None}
    if kind < 2:
        return wish | random_drive(random)
    if kind == 2:
        return wish | {"club": random_drive(random)["club"] if random.random() < 0.7 else None}
    return wish | {"golfer": golfer_row(random), "club": random_drive(random)["club"] if kind == 4 else None}


def golfer_row(random):
    """Draw a row of golfers.csv as texts: parts of the delivery may be unknown, and some aren't assessed."""
    drive = random_drive(random)
    assessed = random.random() > 0.1
    carry, lost = 2.45 * drive["club"] - 8 + random.normal(0, 8), random.normal(8, 8)
    numbers = {
        "club_speed_mph": drive["club"] + random.random() / 7,
        "ball_speed_mph": drive["ball"],
        "launch_deg": drive["launch"] or 13.25,
        "spin_rpm": drive["spin"],
        "carry_yd": carry,
        "lost_yd": lost if assessed else None,
        "lost_lo90_yd": lost - random.uniform(2, 5) if assessed else None,
        "lost_hi90_yd": lost + random.uniform(2, 5) if assessed else None,
        "own_difference_yd": random.uniform(0, 3) if assessed and random.random() < 0.7 else None,
    }
    texts = {name: "" if value is None else str(float(value)) for name, value in numbers.items()}
    status = "clear" if assessed else "not_assessed"
    note = "" if assessed else "fewer than 12 drives"
    return {"golfer": "g0123456789abcdef", "quarter": "2026Q3", "status": status, "note": note, **texts}
