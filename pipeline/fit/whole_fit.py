"""The whole fit of a study as passes over its drives: survey, factors, trial, and what is asked of the chosen model."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import Drives, Piece, Speed, only_usable, straightened, typical_drives, usable
from pipeline.fit.candidates import Candidate, check_enough
from pipeline.fit.contest import Entry, Say, Scored, coefficient_table, competing, score_table, told_of
from pipeline.fit.held_out import EveryKnownOf, HeldOut, Predicted, intervals_held_out
from pipeline.fit.level_cells import LevelCounts
from pipeline.fit.model import CarryModel
from pipeline.fit.passes import Again, Pass, Passes
from pipeline.fit.resampled import RefitOf, ResampledFits, draw_counts, refits_from
from pipeline.fit.shares import CellsOf, LevelShares, SharePlan, shares_from
from pipeline.fit.surface import Extent
from pipeline.fit.survey import Survey, Surveyed
from pipeline.statistics.arrays import Array

PASSES = 4  # of a fit

# The study's candidates for the extents of its drives.
CandidatesOf = Callable[[dict[str, tuple[Extent, Extent, Extent]]], Sequence[Candidate]]


@dataclass(frozen=True)
class Choices:
    """What a study chooses of its fit: see `Survey.of`, `draw_counts` and `hold_contest`."""

    speed: Speed
    seed: int
    folds: int
    strike: float
    regressors: tuple[str, ...]
    replicates: int
    forced: str | None


class WholeFit(NamedTuple):
    """A fit: the chosen model, and what its tables are made of.

    Attributes
    ----------
    model : CarryModel
        With its intervals; shares and errors are those of the fit alone.
    entries : list of Entry
    scored : Scored
    survey : Survey
    golfers : DataFrame
        Typical drives of all golfers.
    refits : ResampledFits
    shares : LevelShares
    held_out : iterable of HeldOut
        Predictions of golfers held out, by piece; pieces without any are left out.
    """

    model: CarryModel
    entries: list[Entry]
    scored: Scored
    survey: Survey
    golfers: pl.DataFrame
    refits: ResampledFits
    shares: LevelShares
    held_out: Iterable[HeldOut]

    @property
    def told(self) -> str:
        """What was chosen and how well it predicts, for the fit's last line."""
        return told_of(self.scored.choice, self.scored.scores)

    @property
    def coefficients(self) -> pl.DataFrame:
        """The table `Coefficients` of the fit alone."""
        return coefficient_table([entry.fitted for entry in self.entries])


def whole_fit(every: Drives, used: Drives, choices: Choices, candidates: CandidatesOf, say: Say) -> Passes[WholeFit]:
    """Fit a study.

    Parameters
    ----------
    every : Drives
        All accepted drives, from their file.
    used : Drives
        Those of them that the fit can use.
    choices : Choices
    candidates : callable
    say : callable
        Takes a line on how far the work is.
    """
    every, used = every.mapped(straightened), used.mapped(straightened)
    known = yield Pass(every, _LookOf(choices.speed, choices.regressors), partial(_looked, choices))
    survey = known.survey.over(replace(used, firsts=known.used_firsts))
    entries = yield from competing(candidates(survey.extents), survey, say, choices.forced)
    scored = score_table(entries, survey, choices.forced)
    say("Predicting golfers held out, and refitting on resampled golfers ...")
    ask = _ChosenOf.of(entries[scored.chosen], known, choices.speed)
    again = known.survey.over(replace(every, firsts=known.firsts)).drives
    model, refits, shares, held_out = yield Pass(again, ask, partial(_assessed, ask, known.golfers))
    return WholeFit(model, entries, scored, survey, known.golfers, refits, shares, held_out)


class _Looked(NamedTuple):
    """What the first pass finds in a piece: of the drives that the fit can use, and of all."""

    used: Surveyed
    golfers: pl.DataFrame
    counts: LevelCounts


@dataclass(frozen=True)
class _LookOf:
    """Asks pieces of all drives, straightened, for what everything else rests on."""

    speed: Speed
    regressors: tuple[str, ...]

    def __call__(self, piece: Piece) -> _Looked:
        used = Surveyed.of(only_usable(piece.drives, self.speed), None, self.regressors)
        # A piece's own type of golfers knows those of all pieces.
        golfers = typical_drives(piece.drives, ["golfer"]).with_columns(pl.col("golfer").cast(pl.String))
        return _Looked(used.typed(pl.String()), golfers, LevelCounts.of(piece.drives, self.speed))


class _Known(NamedTuple):
    """What is known after the first pass.

    `drawn` is how often each golfer enters each replicate. `firsts` numbers the first golfer of each piece, by name,
    among all, `used_firsts` among those whose drives the fit can use.
    """

    survey: Survey
    golfers: pl.DataFrame
    counts: LevelCounts
    drawn: npt.NDArray[np.uint8]
    firsts: dict[str, int]
    used_firsts: dict[str, int]


def _looked(choices: Choices, answers: Iterable[_Looked]) -> _Known:
    shots = pl.concat([pl.Series(dtype=pl.Int64), *(one.used.typical.get_column("shots") for one in answers)])
    check_enough(len(shots), int(shots.sum()))
    golfers = pl.concat([one.golfers for one in answers], rechunk=True)  # chunks would show in the bytes of its file
    # In the order of the file, not of the names.
    golfer = pl.Enum(golfers.get_column("golfer"))
    survey = Survey.pooled(
        Again(lambda: (one.used.typed(golfer) for one in answers)),
        choices.seed,
        number=choices.folds,
        strike=choices.strike,
        regressors=choices.regressors,
    )
    drawn = draw_counts(golfers.height, choices.seed, choices.replicates)
    firsts = _firsts(one.golfers for one in answers), _firsts(one.used.typical for one in answers)
    counts = LevelCounts.joined(one.counts for one in answers)
    return _Known(survey, golfers.with_columns(pl.col("golfer").cast(golfer)), counts, drawn, *firsts)


def _firsts(tables: Iterable[pl.DataFrame]) -> dict[str, int]:
    found, first = {}, 0
    for table in tables:
        if table.height:
            found[str(table.item(0, "golfer"))] = first
            first += table.height
    return found


class _Chosen(NamedTuple):
    """What the last pass finds in a piece; nothing of drives that the fit can't use where there are no others."""

    predicted: Predicted | None
    sums: tuple[Array, Array, pl.DataFrame | None] | None
    cells: pl.DataFrame


@dataclass(frozen=True)
class _ChosenOf:
    """Asks pieces of all drives for what becomes the chosen model's intervals, refits and shares."""

    model: CarryModel
    speed: Speed
    predictions: EveryKnownOf
    sums: RefitOf
    cells: CellsOf

    @classmethod
    def of(cls, entry: Entry, known: _Known, speed: Speed) -> "_ChosenOf":
        model = entry.fitted.model
        fold = known.golfers.select("golfer").join(
            known.survey.fold_of_golfers, on="golfer", how="left", maintain_order="left"
        )
        of_all = fold.get_column("fold").fill_null(-1).to_numpy().astype(np.int16)
        cells = CellsOf(model, SharePlan.of(model, known.counts))
        return cls(model, speed, EveryKnownOf(entry.without, of_all), RefitOf(model, known.drawn), cells)

    def __call__(self, piece: Piece) -> _Chosen:
        used, cells = piece.marked(usable(piece.drives, self.speed)), self.cells(piece)
        if used.drives.is_empty():
            return _Chosen(None, None, cells)
        return _Chosen(self.predictions(used), self.sums(used), cells)


def _assessed(
    ask: _ChosenOf, golfers: pl.DataFrame, answers: Iterable[_Chosen]
) -> tuple[CarryModel, ResampledFits, LevelShares, Iterable[HeldOut]]:
    def of_used(name: str) -> Iterator[Any]:
        return (getattr(one, name) for one in answers if one.predicted is not None)

    model = ask.model.with_interval(intervals_held_out(Again(lambda: of_used("predicted"))))
    refits = refits_from(of_used("sums"), model, golfers, ask.sums.counts)
    shares = shares_from(pl.concat(one.cells for one in answers), ask.cells.plan, model, refits)
    return model, refits, shares, Again(lambda: (one.held for one in of_used("predicted")))
