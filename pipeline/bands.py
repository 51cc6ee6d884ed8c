"""Speed bands: which band a club speed belongs to, by one rule for every table, page and picture."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array


@dataclass(frozen=True)
class SpeedBands:
    """Bands of club speed, named by their centres.

    Attributes
    ----------
    centres_mph : tuple of float
        Rising.
    half_width_mph : float
        A band reaches from `centre - half_width` up to, not including, `centre + half_width`.
    """

    centres_mph: tuple[float, ...]
    half_width_mph: float

    @classmethod
    def of(cls, centres_mph: Sequence[float], half_width_mph: float) -> "SpeedBands":
        """Take centres in any order."""
        return cls(tuple(sorted(float(centre) for centre in centres_mph)), half_width_mph)

    def holds(self, centre_mph: float, club_speed_mph: npt.ArrayLike) -> npt.NDArray[np.bool_]:
        """Say which club speeds lie in one band, in their shape."""
        speed = np.asarray(club_speed_mph, dtype=float)
        return np.asarray((speed >= centre_mph - self.half_width_mph) & (speed < centre_mph + self.half_width_mph))

    def band_of(self, club_speed_mph: npt.ArrayLike) -> Array:
        """Give the centre of each club speed's band, mph, shape (n,); NaN outside every band.

        Where bands overlap it is the nearest centre, the lower of two as near.
        """
        speed = np.asarray(club_speed_mph, dtype=float)
        centres = np.array(self.centres_mph)
        inside = np.stack([self.holds(centre, speed) for centre in self.centres_mph], axis=-1)
        away = np.where(inside, np.abs(speed[:, None] - centres), np.inf)
        return np.where(inside.any(axis=1), centres[np.argmin(away, axis=1)], np.nan)

    def next_above(self, club_speed_mph: npt.ArrayLike) -> Array:
        """Give the centre of the first band that begins above each club speed, mph, shape (n,); NaN above them all."""
        padded = np.append(np.array(self.centres_mph), np.nan)
        speed = np.nan_to_num(np.asarray(club_speed_mph, dtype=float), nan=np.inf)
        return np.asarray(padded[np.searchsorted(padded[:-1] - self.half_width_mph, speed, side="right")])

    def begins_at(self, centre_mph: npt.ArrayLike) -> Array:
        """Give where bands begin, mph."""
        return np.asarray(centre_mph, dtype=float) - self.half_width_mph
