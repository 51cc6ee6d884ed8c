"""How well candidates predict golfers held out of the fit, and which one is chosen for it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.fit.held_out import EVERYTHING, HeldOut, edge_quantiles
from pipeline.statistics.arrays import Array
from pipeline.statistics.quantiles import Quantiles
from pipeline.statistics.sums import Sum

Golfers = npt.NDArray[np.integer[Any]]


class Scorer:
    """Scores predictions of golfers held out, which come in pieces: shown to `look`, then to `judge`, then to `cover`.

    Every golfer's drives stand in one piece, `golfer` numbers a piece's golfers from 0 on.
    """

    def __init__(self) -> None:
        self.drives, self.golfers, self.inside = 0, 0, 0
        self.squares, self.distances, self.errors, self.totals = Sum(), Sum(), Sum(), Sum()
        self.quantiles = Quantiles(edge_quantiles())
        self.edges: dict[int, Array] = {}

    def look(self, held: HeldOut, golfer: Golfers) -> None:  # noqa: ARG002 - all three are called alike
        """Take a piece in the first reading."""
        error = held.predicted[EVERYTHING] - held.measured
        self.drives += len(error)
        self.squares.add(error**2)
        self.distances.add(np.abs(error))
        self.errors.add(error)
        self.quantiles.look(held.departures[EVERYTHING], held.fold)

    def judge(self, held: HeldOut, golfer: Golfers) -> None:
        """Take a piece in the second reading."""
        error = held.predicted[EVERYTHING] - held.measured
        # Sum of (squared error - mean) per golfer: the cluster-robust variance of a mean.
        totals = np.asarray(np.bincount(golfer, weights=error**2 - self.squares.total / self.drives), dtype=float)
        self.golfers += len(totals)
        self.totals.add(totals**2)
        self.quantiles.gather(held.departures[EVERYTHING], held.fold)

    def cover(self, held: HeldOut, golfer: Golfers) -> None:  # noqa: ARG002
        """Take a piece in the third reading."""
        if not self.edges:
            folds = self.quantiles.groups
            self.edges = dict(zip(folds, self.quantiles.without(folds).values(), strict=True))
        departure = held.departures[EVERYTHING]
        for k in np.unique(held.fold):
            lo, hi = self.edges[int(k)]
            out = departure[held.fold == k]
            self.inside += int(np.count_nonzero((out >= lo) & (out <= hi)))

    @property
    def figures(self) -> dict[str, float]:
        """The scores; see `score`."""
        variance = self.totals.total / self.drives**2 * self.golfers / max(self.golfers - 1, 1)
        rmse = float(np.sqrt(self.squares.total / self.drives))
        return {
            "rmse_yd": rmse,
            "rmse_std_error_yd": float(np.sqrt(variance)) / (2 * rmse) if rmse > 0 else 0.0,
            "mae_yd": self.distances.total / self.drives,
            "bias_yd": self.errors.total / self.drives,
            "coverage90": self.inside / self.drives,
        }


def score(held: HeldOut, golfer: Golfers) -> dict[str, float]:
    """Score held-out predictions.

    Parameters
    ----------
    held : HeldOut
    golfer : ndarray of int, shape (n,)
        Numbers from 0 on.

    Returns
    -------
    dict
        rmse_yd and its standard error clustered by golfer, mae_yd, bias_yd (predicted minus measured) and
        coverage90: of an interval whose edges come from the other folds, so no drive judges itself.
    """
    scorer = Scorer()
    for take in READINGS:
        take(scorer, held, golfer)
    return scorer.figures


READINGS = (Scorer.look, Scorer.judge, Scorer.cover)


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


def choice_of(scores: pl.DataFrame, forced: str | None) -> Choice:
    """Give why the chosen candidate of the table `Scores` was chosen; `forced` is the one that the study names."""
    names = scores.get_column("model").to_list()
    contest = choose(scores.select("rmse_yd", "rmse_std_error_yd").to_dicts())
    return Choice(scores.filter("chosen").item(0, "model"), names[contest], forced is not None)
