"""How far drives go, not only on average: the share that reaches a distance, with its interval (numpy alone).

Drives are a golfer's of new days, as golfers/reaching.npz has them, or those of the usual golfer of a speed, from
golfers/usual_reaching.json (`pipeline.coach.reaching` makes both).
"""

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import Z90

# Quantiles are kept at these levels: even in standard scores, so that the tails have as many as the middle.
LEVELS: Array = np.array([0.5 * math.erfc(-score / math.sqrt(2)) for score in np.linspace(-3, 3, 61)])

# Where the doubt of the center is averaged over: exact for polynomials of degree 17, and so good to 0.001 for shares.
_NODES, _WEIGHTS = (np.asarray(part) for part in np.polynomial.hermite_e.hermegauss(9))
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()

# Bisections of the range of quantiles: 2^-30 of some 200 yd.
_HALVINGS = 30
# So many secants come before them and end within the last halvings' step of all but odd answers, of which halvings then
# look only where the secants leave it open: for many golfers a look takes most of the time.
_SECANTS = 5


def as_json() -> dict[str, Any]:
    """Give what a script needs to do as `DriveSpread` does: levels, the doubt's nodes and weights, bisections."""
    return {
        "levels": LEVELS.tolist(),
        "nodes": _NODES.tolist(),
        "weights": _WEIGHTS.tolist(),
        "halvings": _HALVINGS,
    }


@dataclass(frozen=True)
class DriveSpread:
    """Where the drives of n golfers come down.

    Attributes
    ----------
    quantile_yd : ndarray, shape (n, levels)
        At `LEVELS`, of drives of many days; rising.
    center_yd : ndarray, shape (n,)
        Of sound drives.
    doubt_yd : ndarray, shape (n,)
        Standard error of where the whole lies: what few days, other golfers and the next quarter leave open.
    worth : ndarray, shape (n,)
        So many drives would show the share that reaches a distance as well.
    """

    quantile_yd: Array
    center_yd: Array
    doubt_yd: Array
    worth: Array

    def rows(self, rows: npt.ArrayLike) -> "DriveSpread":
        """Take some of the golfers."""
        return DriveSpread(*(np.asarray(values)[np.asarray(rows)] for values in vars(self).values()))

    def farther(self, by_yd: npt.ArrayLike) -> "DriveSpread":
        """Give the same drives, all of them so many yards farther, shape (n,)."""
        by = np.broadcast_to(np.asarray(by_yd, dtype=float), self.center_yd.shape)
        return replace(self, quantile_yd=self.quantile_yd + by[:, None], center_yd=self.center_yd + by)

    def about(self, center_yd: npt.ArrayLike, doubt_yd: npt.ArrayLike) -> "DriveSpread":
        """Give drives about another center, shape (n,), whose doubt that is.

        They scatter, and are mishit, in the same measure: as shares of the center, for a mishit costs a share of ball
        speed.
        """
        center = np.broadcast_to(np.asarray(center_yd, dtype=float), self.center_yd.shape)
        doubt = np.broadcast_to(np.asarray(doubt_yd, dtype=float), self.center_yd.shape)
        return replace(
            self,
            quantile_yd=self.quantile_yd * (center / self.center_yd)[:, None],
            center_yd=center,
            doubt_yd=doubt,
        )

    def share_reaching(self, distance_yd: npt.ArrayLike) -> tuple[Array, Array, Array]:
        """Give the share of drives that reach distances, with the edges of its 90 % interval; all of shape (n,).

        Parameters
        ----------
        distance_yd : array_like, shape (n,) or a number

        Returns
        -------
        share, lo90, hi90 : ndarray, shape (n,)
            NaN where the distance or the drives aren't known.

        Notes
        -----
        The share is its mean over the doubt of the center, so that golfers of whom 0.3 is said reach it with 0.3 of
        their drives on average. The interval is made on the scale of arcsin(sqrt(share)), on which counts of N drives
        have the variance 1 / (4 N) whatever the share: the doubt of the center and that of the count are added there.
        """
        distance = np.broadcast_to(np.asarray(distance_yd, dtype=float), self.center_yd.shape)
        shares = self._beyond(distance[:, None] - self.doubt_yd[:, None] * _NODES)
        share = np.clip(shares @ _WEIGHTS, 0.0, 1.0)  # rounding may leave it a little beyond
        angles = np.arcsin(np.sqrt(shares))
        middle = angles @ _WEIGHTS
        variance = ((angles - middle[:, None]) ** 2) @ _WEIGHTS + 1 / (4 * self.worth)
        reach = Z90 * np.sqrt(variance)
        lo, hi = (np.sin(np.clip(middle + side * reach, 0, np.pi / 2)) ** 2 for side in (-1, 1))
        return share, np.minimum(lo, share), np.maximum(hi, share)

    def distance_reached(self, share: float) -> Array:
        """Give the distance that a share of drives reach, yd, shape (n,): 0.9 for nine of ten."""
        arm = self.doubt_yd * np.abs(_NODES).max()
        low, high = self.quantile_yd[:, 0] - arm, self.quantile_yd[:, -1] + arm
        near, far = self._closed_in(share, (high - low) / 2**_HALVINGS)
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            enough = middle <= near
            left = np.flatnonzero((middle > near) & (middle < far))
            if len(left):
                enough[left] = self.rows(left)._share_beyond(middle[left]) >= share
            low, high = np.where(enough, middle, low), np.where(enough, high, middle)
        return np.asarray(np.where(np.isnan(self.doubt_yd + self.quantile_yd[:, 0]), np.nan, (low + high) / 2))

    def _closed_in(self, share: float, within_yd: Array) -> tuple[Array, Array]:
        """Give distances that a share of drives is known to reach, and not to reach, yd, each of shape (n,).

        They lie `within_yd`, shape (n,), of where secants end; without end where that is none of the two.
        """
        before = self.quantile_yd[:, len(LEVELS) - 1 - LEVELS.searchsorted(share)]
        more = self._share_beyond(before) - share
        at = before + np.where(more >= 0, 0.1, -0.1) * self.doubt_yd
        for _ in range(_SECANTS):
            more_at = self._share_beyond(at) - share
            step = np.divide(more_at * (at - before), more - more_at, out=np.zeros_like(at), where=more != more_at)
            before, more, at = at, more_at, at + np.clip(step, -2 * self.doubt_yd, 2 * self.doubt_yd)
        near, far = at - within_yd, at + within_yd
        return (
            np.where(self._share_beyond(near) >= share, near, -np.inf),
            np.where(self._share_beyond(far) < share, far, np.inf),
        )

    def _share_beyond(self, distance_yd: Array) -> Array:
        """Give the shares beyond distances, shape (n,), the doubt of the center in them."""
        return np.asarray(self._beyond(distance_yd[:, None] - self.doubt_yd[:, None] * _NODES) @ _WEIGHTS)

    def _beyond(self, distance_yd: Array) -> Array:
        """Give the shares beyond distances, shape (n, m), the doubt of the center left out."""
        quantiles = self.quantile_yd
        # Level by level and golfers last, counted in bytes: along the last axis all of this would take twice as long.
        levels, distances = np.ascontiguousarray(quantiles.T), np.ascontiguousarray(distance_yd.T)
        after = (levels[:, None, :] <= distances).sum(axis=0, dtype=np.uint8).T.astype(np.int64, order="C")
        inner = after.clip(1, len(LEVELS) - 1)
        place = inner + len(LEVELS) * np.arange(len(quantiles))[:, None]
        low, high = (quantiles.ravel().take(place - back) for back in (1, 0))
        way = np.divide(distance_yd - low, high - low, out=np.zeros_like(distance_yd), where=high > low)
        lower = LEVELS.take(inner - 1)
        below = lower + way * (LEVELS.take(inner) - lower)
        below = np.where(after == 0, 0.0, np.where(after == len(LEVELS), 1.0, below))
        return np.asarray(np.where(np.isnan(distance_yd + low), np.nan, 1 - below))


@dataclass(frozen=True)
class UsualDrives:
    """How the drives of the usual golfer of a speed scatter, by carry or by carry and roll.

    Attributes
    ----------
    shape : ndarray, shape (levels,)
        Quantiles at `LEVELS` about the center of sound drives, in their standard deviations.
    spread_share : float
        That standard deviation as a share of the center.
    worth : float
        As many drives would show a golfer's share as well: golfers scatter, and mishit, differently.
    beyond_share : tuple of float
        How much farther than the model expects centers lie on average, as a share: of what is expected of a delivery
        that is known, and of the usual one at the club speed.
    differ_share : tuple of float
        Standard deviation of golfers' centers about those two.
    golfers : int
        So many golfers' drives show the shape.
    """

    shape: Array
    spread_share: float
    worth: float
    beyond_share: tuple[float, float]
    differ_share: tuple[float, float]
    golfers: int = 0

    def about(self, expected_yd: float, known: float) -> DriveSpread:
        """Give the drives of a golfer whose typical drive is expected to go so far.

        Parameters
        ----------
        expected_yd : float
        known : float
            How much of the delivery is known, 0 to 1: so much of the way the variance between golfers goes.
        """
        parts = np.array([known, 1 - known])
        center = np.array([expected_yd * (1 + parts @ np.array(self.beyond_share))])
        doubt = math.sqrt(parts @ np.square(self.differ_share))
        quantiles = center * (1 + self.spread_share * self.shape[None, :])
        return DriveSpread(quantiles, center, center * doubt, np.array([self.worth]))


@dataclass(frozen=True)
class UsualReaching:
    """The file usual_reaching.json.

    Attributes
    ----------
    carry, total : UsualDrives or None
        None where no golfer of the newest quarter has drives enough to show how they scatter.
    """

    carry: UsualDrives | None
    total: UsualDrives | None
