"""Step: fit the candidate models, compare them on golfers held out, keep the chosen one.

In: drives.parquet, calibration.json, the study's own candidates, regressors.parquet where it names any. Of a study cut
into parts, what `pool_fit` pooled and what the last `sum_fit` was answered too. Out: model.json (the chosen model),
coefficients.csv (every candidate), scores.csv, typical.parquet (one row per golfer), replicates.npz (refits on
resampled golfers), held_out.parquet (the chosen model's predictions on golfers held out, one row per drive of the fit,
in their order, with its keys) and regressors.csv (Regressors).
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.configuration.study import Model, StandardAir
from pipeline.drives import MOST_KEPT, Speed, speed_of_study
from pipeline.edge.answers import Answers, read_pooled, spooled
from pipeline.edge.artefacts import read_artefact, write_arrays, write_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv, write_parquet, write_parquet_of
from pipeline.fit.candidates import Candidate, candidates_of_study
from pipeline.fit.contest import Say
from pipeline.fit.held_out import DRIVE_KEYS, held_out_table
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.fit.own_files import read_written
from pipeline.fit.passes import Pass, Passes, ended, gone_on, in_one_process
from pipeline.fit.regressor_effects import assess_regressors, effects_in_table, with_errors
from pipeline.fit.sum_fit import in_halves, is_halved
from pipeline.fit.surface import Extent
from pipeline.fit.whole_fit import Choices, WholeFit, whole_fit
from pipeline.flight.calibrate import StudyFlight
from pipeline.tables.figures import Coefficients, RegressorTable, Scores
from pipeline.threads import second_process

say = partial(print, flush=True)


def run(
    drives: str,
    calibration: str,
    study: str,
    seed: int,
    air: dict[str, Any],
    choices: dict[str, Any],
    strike: float,
    own: Sequence[str],
    beside: str | None = None,
    pooled: Sequence[str] = (),
    answers: Sequence[str] = (),
    **made: str,
) -> None:
    """Run the step; see the module's docstring.

    `choices` are the study's `Model`, `strike` its `Efficient.strike`, `made` the paths of the outputs. In parts,
    `pooled` and `answers` are given.
    """
    method = Model.model_validate(choices)
    speed = read_pooled(pooled[0]) if pooled else speed_of(drives)
    tell: Say = _unsaid if pooled else say
    halved = not pooled and is_halved(drives)
    keeps = not (pooled or halved)
    fit = fit_of_study(drives, speed, method, beside, calibration, seed, air, strike, own, tell, keeps=keeps)
    with second_process(), in_halves(drives, beside) if halved else nullcontext(_answers_here) as answered:
        whole = ended_in_parts(fit, pooled, answers) if pooled else in_one_process(fit, answered)
    effects = assess_regressors(method.regressors, whole.model.surface, whole.survey, whole.model.usual)
    chosen = whole.shares.of_model(with_errors(whole.model, effects))
    on = FittedOn(whole.survey.shots, whole.survey.typical.height, tuple(whole.survey.quarters))
    write_artefact(made["model"], FittedModel(study, chosen, on))
    write_parquet(Path(made["typical"]), whole.golfers.cast({"golfer": pl.String}))
    tables = map(held_out_table, whole.held_out, keys_of(Path(drives), speed))
    write_parquet_of(Path(made["held_out"]), tables)
    write_arrays(made["replicates"], replace(whole.refits, offset_share=whole.shares.draws).to_arrays())
    write_tables(made, whole, effects)
    say(f"Fitted {whole.survey.shots} drives of {whole.survey.typical.height} golfers: {whole.told}.")


def speed_of(drives: str) -> Speed:
    """Say over which speed a study is fitted."""
    return speed_of_study(open_drives(Path(drives), ("golfer", "ball_speed_mph")))


def fit_of_study(
    drives: str,
    speed: Speed,
    method: Model,
    beside: str | None,
    calibration: str,
    seed: int,
    air: dict[str, Any],
    strike: float,
    own: Sequence[str],
    tell: Say,
    *,
    keeps: bool,
) -> Passes[WholeFit]:
    """Give the passes of a study's fit.

    Parameters
    ----------
    drives, calibration, own, beside : str
        Paths.
    speed : "ball" or "club"
    method : Model
    seed : int
    air : dict
        A `StandardAir`.
    strike : float
        `Efficient.strike`.
    tell : callable
        Takes a line on how far the work is.
    keeps : bool
        Whether this process alone reads the drives: then it keeps them in memory, unless there are many.
    """
    standard, written = StandardAir.model_validate(air), read_written(method.formulas, own)
    flight = read_artefact(calibration, StudyFlight).calibration

    def candidates(extents: dict[str, tuple[Extent, Extent, Extent]]) -> Sequence[Candidate]:
        return candidates_of_study(speed, extents, flight, standard, method, written)

    every = open_drives(Path(drives), beside=None if beside is None else Path(beside))
    used = every.usable(speed)
    used = used.kept(MOST_KEPT) if keeps else used
    regressors = tuple(method.regressors)
    chosen = Choices(speed, seed, method.folds, strike, regressors, method.replicates, method.choose)
    return whole_fit(every, used, chosen, candidates, tell)


def _answers_here(one: Pass) -> Iterable[Any]:
    """Ask a pass's pieces in this process."""
    return spooled(one.drives.each_piece(one.ask))


def _unsaid(_: str) -> None:
    """Say nothing: `pool_fit` has said it."""


def ended_in_parts(fit: Passes[WholeFit], pooled: Sequence[str], answers: Sequence[str]) -> WholeFit:
    """End a fit by what was pooled after each pass but the last, and what all parts answered in that."""
    last = gone_on(fit, list(map(read_pooled, pooled[1:])))
    return ended(fit, last.pool(Answers(answers)))


def write_tables(made: Mapping[str, str], whole: WholeFit, effects: pl.DataFrame) -> None:
    """Write the tables of a fit as csv; that of regressors only where a study names some."""
    name = whole.model.surface.name
    terms = effects_in_table(effects, whole.shares.in_table(whole.coefficients, name), name)
    write_csv(Path(made["coefficients"]), Coefficients.validate(terms))
    write_csv(Path(made["scores"]), Scores.validate(whole.scored.scores))
    if "regressors" in made:
        write_csv(Path(made["regressors"]), RegressorTable.validate(effects))


def keys_of(drives: Path, speed: str) -> Iterator[pl.DataFrame]:
    """Read the keys of the drives of a fit over a speed, in their order and piece by piece: golfer, source, row."""
    every = open_drives(drives, ("golfer", "ball_speed_mph", "spin_measured", "source", "row"))
    keys = (frame.select(DRIVE_KEYS).cast({"golfer": pl.String}) for frame in every.usable(speed).read())
    return (frame for frame in keys if frame.height)
