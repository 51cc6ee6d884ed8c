"""How well candidates predict golfers held out of the fit, and which one is chosen for it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pipeline.fit.held_out import EVERYTHING, HeldOut, interval_edges


def score(held: HeldOut, golfer: npt.NDArray[np.integer[Any]]) -> dict[str, float]:
    """Score held-out predictions.

    Parameters
    ----------
    held : HeldOut
    golfer : ndarray of int, shape (n,)

    Returns
    -------
    dict
        rmse_yd and its standard error clustered by golfer, mae_yd, bias_yd (predicted minus measured) and
        coverage90: of an interval whose edges come from the other folds, so no drive judges itself.
    """
    predicted = held.predicted[EVERYTHING]
    error = predicted - held.measured
    mse = float(np.mean(error**2))
    # Sum of (squared error - mean) per golfer: the cluster-robust variance of a mean.
    totals = np.bincount(golfer, weights=error**2 - mse)
    clusters = len(totals)
    variance = float(np.sum(totals**2)) / len(error) ** 2 * clusters / max(clusters - 1, 1)
    rmse = float(np.sqrt(mse))
    inside = np.empty(len(error), dtype=bool)
    for k in np.unique(held.fold):
        out = held.fold == k
        lo, hi = interval_edges(held.measured[~out], predicted[~out])
        departure = held.measured[out] / np.maximum(predicted[out], 1.0) - 1.0
        inside[out] = (departure >= lo) & (departure <= hi)
    return {
        "rmse_yd": rmse,
        "rmse_std_error_yd": float(np.sqrt(variance)) / (2 * rmse) if rmse > 0 else 0.0,
        "mae_yd": float(np.mean(np.abs(error))),
        "bias_yd": float(np.mean(error)),
        "coverage90": float(np.mean(inside)),
    }


@dataclass(frozen=True)
class Choice:
    """Which candidate a fit uses, and why.

    Attributes
    ----------
    name : str
        The one that is used.
    contest : str
        The one that the contest chooses.
    forced : bool
        Whether the study names the one to use.
    """

    name: str
    contest: str
    forced: bool = False

    @property
    def sentence(self) -> str:
        """Say why it is used."""
        rule = "the simplest within one standard error of the best"
        if not self.forced:
            return f"The chosen model is {rule}."
        named = f"The study names {self.name} as the model to use (model.choose in study.yaml)."
        if self.name == self.contest:
            return f"{named} The contest chooses it too: it is {rule}."
        return f"{named} The contest would have chosen {self.contest}, {rule}."

    @property
    def told(self) -> str:
        """Say in a few words what was chosen."""
        if not self.forced:
            return f"chose {self.name}"
        other = "it too" if self.name == self.contest else self.contest
        would = "chooses" if self.name == self.contest else "would have chosen"
        return f"used {self.name}, as study.yaml says (the contest {would} {other})"

    def note(self, name: str) -> str | None:
        """Say of a candidate what a forced choice makes of it; None where there is nothing to say."""
        if not self.forced or name not in (self.name, self.contest):
            return None
        if self.name == self.contest:
            return "named by the study, and chosen by the contest too"
        if name == self.contest:
            return f"the contest's choice, but the study names {self.name}"
        return f"named by the study; the contest would have chosen {self.contest}"


def choose(scores: Sequence[dict[str, float]]) -> int:
    """Choose the simplest candidate within one standard error of the best.

    Parameters
    ----------
    scores : sequence of dict
        With rmse_yd and rmse_std_error_yd, simplest candidate first.

    Returns
    -------
    int
        The chosen one's place.

    References
    ----------
    The one-standard-error rule: Breiman, Friedman, Olshen and Stone, Classification and Regression Trees (1984).
    """
    best = min(scores, key=lambda s: s["rmse_yd"])
    limit = best["rmse_yd"] + best["rmse_std_error_yd"]
    return next(place for place, s in enumerate(scores) if s["rmse_yd"] <= limit)
