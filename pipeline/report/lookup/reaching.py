"""How golfers' drives scatter, for the coach's page: what a page that is handed on may say of usual_reaching.json.

The page lies on phones, outside the academy. What it says of golfers follows the rules of
`pipeline.benchmark.disclosure`: figures rest on enough golfers, and extremes are means of enough of them. In the pool
of drives every golfer counts the same, so a quantile with a share of at least `min_golfers` golfers on both sides may
stand; beyond it the tail is told by its mean alone. A single drive that fell far short, and so its golfer, can't be
read off the page; the full file can show it.
"""

from dataclasses import asdict, replace
from typing import Any

import numpy as np

from pipeline.benchmark.reaching import known_part
from pipeline.fit.model import CarryModel
from pipeline.statistics.arrays import Array
from pipeline.statistics.drive_spread import LEVELS, UsualDrives, UsualReaching, as_json

# With fewer golfers, in units of `min_golfers`, nothing is said: the tails would be longer than an eighth each. On the
# demo's scatter told tails move no share by more than 0.024 at 40 golfers (0.05 at 20, 0.005 at the demo's own 82).
LEAST_FOLD = 8

# Decimals of quantiles, in standard deviations of sound drives (under 0.1 yd), and of shares of the center (0.02 yd).
SHAPE_DECIMALS, SHARE_DECIMALS = 2, 4


def reaching_data(usual: UsualReaching | None, model: CarryModel, min_golfers: int) -> dict[str, Any] | None:
    """Gather what the page's script needs to say how often a distance is reached.

    Parameters
    ----------
    usual : UsualReaching or None
    model : CarryModel
    min_golfers : int

    Returns
    -------
    dict or None
        carry and total (see `UsualDrives`), each None where too few golfers show it; by what is known of a drive, how
        much of its delivery that is (`known_part`); levels, nodes and weights of `DriveSpread`. None without either.
    """
    kinds = {} if usual is None else {name: protected(one, min_golfers) for name, one in vars(usual).items()}
    if not any(kinds.values()):
        return None
    return {
        **{name: one and {**asdict(one), "shape": one.shape.tolist()} for name, one in kinds.items()},
        "known": {key: known_part(model, key) for key in model.interval},
        **as_json(),
    }


def protected(usual: UsualDrives | None, min_golfers: int) -> UsualDrives | None:
    """Take out of a shape what rests on fewer than `min_golfers` golfers.

    Parameters
    ----------
    usual : UsualDrives or None
    min_golfers : int

    Returns
    -------
    UsualDrives or None
        With tails beyond the shares of `min_golfers` golfers that fall off exponentially from the last quantile that
        is kept, and so have the pool's mean; rounded. None where fewer than `LEAST_FOLD` times as many golfers show
        the shape.
    """
    if usual is None or usual.golfers < LEAST_FOLD * min_golfers:
        return None
    shape = _with_told_tails(usual.shape, min_golfers / usual.golfers)
    return replace(
        usual,
        shape=np.round(shape, SHAPE_DECIMALS),
        spread_share=round(usual.spread_share, SHARE_DECIMALS),
        beyond_share=_rounded(usual.beyond_share),
        differ_share=_rounded(usual.differ_share),
    )


def _with_told_tails(shape: Array, tail: float) -> Array:
    """Replace the lowest and highest share of a distribution, given by its quantiles at `LEVELS`."""
    found = shape.copy()
    for side in (1, -1):  # the lower tail, and the upper one as the lower of the mirrored distribution
        quantile = side * (found if side > 0 else found[::-1])
        beyond = tail > LEVELS
        edge = float(np.interp(tail, LEVELS, quantile))
        levels = np.append(LEVELS[beyond], tail)
        values = np.append(quantile[beyond], edge)
        # The outermost quantile stands for all beyond it.
        area = np.trapezoid(values, levels) + levels[0] * values[0]
        mean = float(area / tail)
        quantile = np.where(beyond, edge + (edge - mean) * np.log(np.minimum(LEVELS / tail, 1.0)), quantile)
        found = quantile if side > 0 else -quantile[::-1]
    return found


def _rounded(shares: tuple[float, float]) -> tuple[float, float]:
    known, unknown = (round(share, SHARE_DECIMALS) for share in shares)
    return known, unknown
