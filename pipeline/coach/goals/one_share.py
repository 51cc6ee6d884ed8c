"""How often one golfer reaches one goal, in the air, wind and on the turf asked for."""

import numpy as np

from pipeline.benchmark.reaching import REACHING, known_part, move_of, moved, run_at_standard, run_error
from pipeline.coach.goals.goal_shares import AT_SPEED, EFFICIENT, TENTHS, goal_shares
from pipeline.coach.goals.needed_speed import Present
from pipeline.coach.goals.one_goal import Study, Wish, present_at
from pipeline.fit.model import known_key
from pipeline.statistics.drive_spread import DriveSpread, UsualReaching

SHARES = (*REACHING, EFFICIENT, AT_SPEED, *TENTHS)


def usual_of_drive(study: Study, wish: Wish, present: Present, usual: UsualReaching) -> DriveSpread | None:
    """Give the drives of the usual golfer whose typical drive is the present one, at standard conditions."""
    scatter = usual.carry if wish.carry else usual.total
    if scatter is None:
        return None
    ball = study.model.by_ball_speed and wish.ball_speed_mph is not None
    known = known_part(study.model, known_key(ball, wish.launch_deg is not None, wish.spin_rpm is not None))
    run = np.zeros(1) if wish.carry else run_at_standard(study.model, study.place, present.drive)
    return scatter.about(float((study.model.expected(present.drive) + run)[0]), known)


def at_speed(study: Study, spread: DriveSpread, own_mph: float, present: Present, *, carry: bool) -> DriveSpread:
    """Give a golfer's drives at the present speed, from those at the golfer's own: farther as the mean drive is."""
    now, own = (
        one.carry_yd + (0.0 if carry else run_at_standard(study.model, study.place, one.drive))
        for one in (present, present_at(study, present, own_mph))
    )
    grown = now / own
    return spread.about(spread.center_yd * grown, spread.doubt_yd * grown)


def shares_of_one(
    study: Study, wish: Wish, present: Present | None, spread: DriveSpread | None, answer: dict[str, float | None]
) -> dict[str, float | None]:
    """Give how often a goal is reached.

    Parameters
    ----------
    study : Study
    wish : Wish
    present : Present or None
        Of one golfer, at standard conditions.
    spread : DriveSpread or None
        Of that golfer at the present speed, at standard conditions.
    answer : dict
        From `plan_one`.

    Returns
    -------
    dict
        The keys `SHARES`, null where nobody can say.
    """
    if present is None or spread is None:
        return dict.fromkeys(SHARES)
    added, change = move_of(study.model, study.place, present.drive, carry=wish.carry)
    unsure = 0.0 if wish.carry else run_error(study.model, study.place, present.drive)
    here = moved(spread, added, change, study.curve.frontier.moved_share, unsure)
    needed = answer["efficient_speed_mph"]
    found = goal_shares(
        study.curve,
        here,
        present.club_speed_mph,
        np.array([wish.goal_yd]),
        np.array([np.nan if needed is None else needed]),
        present.lasting_yd,
    )
    return {name: None if np.isnan(values[0]) else float(values[0]) for name, values in found.items()}
