"""A fit whose passes are jobs of parts: the same files as in one process."""

import gc
import json
import os
import tempfile
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, numbers_of

from pipeline.configuration.study import Model
from pipeline.drives import Drives, typical_of_all
from pipeline.edge import drives_file
from pipeline.edge.artefacts import write_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.errors import UserError
from pipeline.fit import fit_model, pool_fit, sum_fit
from pipeline.fit.contest import hold_contest
from pipeline.fit.fit_model import fit_of_study
from pipeline.fit.held_out import HeldOut
from pipeline.fit.passes import Pass, ended, gone_on, in_one_process
from pipeline.fit.resampled import draw_counts, refit
from pipeline.fit.shares import find_shares
from pipeline.fit.survey import Survey
from pipeline.fit.whole_fit import PASSES
from pipeline.flight.calibrate import Calibration, StudyFlight

FILES = ("model.json", "coefficients.csv", "scores.csv", "typical.parquet", "replicates.npz", "held_out.parquet")
CHOICES = {
    "seed": 3,
    "air": {"temp_c": 15.0, "pressure_hpa": 1013.25, "humidity": 0.0},
    "choices": Model(candidates=["line", "quadratic"], folds=5, replicates=50).model_dump(mode="json"),
    "strike": 0.75,
    "own": [],
}
PIECE_ROWS = 150


@pytest.fixture
def study(tmp_path, world_maker, monkeypatch):
    """Write a study of many pieces: of one of them, no drive can enter a fit by ball speed."""
    monkeypatch.setattr(drives_file, "PIECE_ROWS", PIECE_ROWS)
    drives = (
        world_maker(golfers=60)
        .drives.sort("golfer")
        .with_columns(source=pl.lit("a.csv"), row=pl.int_range(1, pl.len() + 1), curve_yd=pl.lit(None, pl.Float64))
    )
    blind = pl.col("golfer").rle_id().is_between(20, 35)
    unknown = drives.with_columns(ball_speed_mph=pl.when(~blind).then("ball_speed_mph"))
    unknown.write_parquet(tmp_path / "drives.parquet", row_group_size=PIECE_ROWS)
    attack = pl.Series("attack_deg", np.random.default_rng(1).normal(size=drives.height))
    drives.select("source", "row", attack).write_parquet(tmp_path / "regressors.parquet")
    pieces = list(open_drives(tmp_path / "drives.parquet").read())
    assert len(pieces) > 8
    assert any(piece.height and piece["ball_speed_mph"].null_count() == piece.height for piece in pieces)
    flight = Calibration("smits-smith-1994", 0.95, 1.0, None, None, [], 0, 0, None, None, "")
    write_artefact(tmp_path / "calibration.json", StudyFlight(flight, 1.46))
    return tmp_path


def made_in(study, parts, regressors=()):
    """Run a fit in so many parts; give the bytes of its files."""
    folder = study / str(parts)
    folder.mkdir()
    beside = {"beside": str(study / "regressors.parquet")} if regressors else {}
    taken = {"drives": str(study / "drives.parquet"), "calibration": str(study / "calibration.json"), **beside}
    choices = CHOICES | {"choices": CHOICES["choices"] | {"regressors": list(regressors)}}
    files, in_parts = (*FILES, *(["regressors.csv"] if regressors else [])), {}
    if parts > 1:
        pooled = [str(folder / f"{number}.pooled") for number in range(PASSES)]
        answers = []
        for number in range(PASSES):
            asked = str(folder / f"{number}.asked")
            also = {"before": pooled[:number], "answers": answers, "pooled": pooled[number], "asked": asked}
            pool_fit.run(**taken, **choices, **also)
            answers = [str(folder / f"{number}.{part}.answers") for part in range(parts)]
            for part, path in enumerate(answers, start=1):
                own = {"asked": asked, "part": f"{part}-of-{parts}", "answers": path}
                sum_fit.run(drives=taken["drives"], **own, **beside)
        in_parts = {"pooled": pooled, "answers": answers}
    made = {name.partition(".")[0]: str(folder / name) for name in files}
    fit_model.run(**taken, **choices, **in_parts, study="hill", **made)
    return {name: (folder / name).read_bytes() for name in files}


def test_a_fit_in_parts_has_the_same_bytes(study, capsys, monkeypatch):
    temporary = study / "temporary"
    temporary.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(temporary))
    gc.disable()  # a step may end without a last look for garbage
    try:
        whole = made_in(study, 1)
    finally:
        gc.enable()
    assert list(temporary.iterdir()) == []
    said = capsys.readouterr().out
    assert "Fitting quadratic ..." in said
    for parts in (2, 3):
        found = made_in(study, parts)
        said = capsys.readouterr().out
        assert said.count("Fitting quadratic ...") == said.count("Pooled 3 passes over the drives.") == 1
        assert {name for name in FILES if found[name] != whole[name]} == set()
    assert said.count("Part 3-of-3: ") == PASSES
    # Not all golfers enter the fit: those numbers differ from those of all.
    assert 20 < json.loads(whole["model.json"])["fitted_on"]["golfers"] < 60
    assert pl.read_parquet(study / "1" / "typical.parquet").height == 60


def test_a_fit_with_a_regressor_in_parts_has_the_same_bytes(study):
    whole, found = (made_in(study, parts, ["attack_deg"]) for parts in (1, 2))
    assert {name for name in whole if found[name] != whole[name]} == set()
    assert b"attack_deg" in whole["regressors.csv"]
    assert b"regressor:attack_deg" in whole["coefficients.csv"]


def test_a_whole_fit_is_what_its_parts_make_one_after_the_other(study):
    drives, method = study / "drives.parquet", Model.model_validate(CHOICES["choices"])
    choices = {name: CHOICES[name] for name in ("seed", "air", "strike", "own")}
    taken = {"beside": None, "calibration": str(study / "calibration.json")}
    fit = fit_of_study(str(drives), "ball", method, **taken, **choices, tell=lambda _: None, keeps=True)
    found = in_one_process(fit)
    every = open_drives(drives)
    survey = Survey.of(every.usable("ball"), CHOICES["seed"], number=method.folds, strike=CHOICES["strike"])
    contest = hold_contest([candidate_named(name) for name in method.candidates], survey, lambda _: None)
    golfers = typical_of_all(every, ["golfer"])
    refits = refit(contest.model, survey.drives, golfers, draw_counts(60, CHOICES["seed"], method.replicates))
    shares = find_shares(contest.model, every, refits, golfers)
    assert found.scored.scores.equals(contest.scores)
    assert found.coefficients.equals(contest.coefficients)
    assert found.model.interval == contest.model.interval
    assert found.golfers.equals(golfers)
    assert found.golfers.n_chunks() == 1  # in parts and in one process: they show in a file
    held = HeldOut.joined(list(found.held_out))
    np.testing.assert_array_equal(held.predicted["nothing"], contest.held_out.predicted["nothing"])
    np.testing.assert_array_equal(held.fold, survey.fold[numbers_of(survey.drives)])
    for name, values in refits.to_arrays().items():
        np.testing.assert_array_equal(found.refits.to_arrays()[name], values)
    assert len(shares.share) > 0
    np.testing.assert_array_equal(found.shares.draws, shares.draws)


def test_a_study_too_small_for_a_fit_is_told_by_the_job_that_pools(study):
    few = pl.read_parquet(study / "drives.parquet").head(15)
    few.write_parquet(study / "drives.parquet")
    with pytest.raises(UserError, match=r"^The study has \d+ usable drives of \d golfers"):
        made_in(study, 2)


def sums(drives, say):
    """Sum drives up in one pass, and how far they are from their mean in another."""
    total, count = yield Pass(drives, lambda piece: np.array([piece.drives["x"].sum(), piece.drives.height]), sum)
    say("once")
    mean = total / count
    return (yield Pass(drives, lambda piece: float(((piece.drives["x"] - mean) ** 2).sum()), sum))


def test_passes_go_on_from_what_was_pooled():
    frames = [pl.DataFrame({"golfer": [name] * 2, "x": [float(k), k + 1.0]}) for k, name in enumerate("abc")]
    drives, said = Drives(lambda: iter(frames)), []
    fit = partial(sums, drives, said.append)
    x = pl.concat(frames)["x"]
    assert in_one_process(fit()) == pytest.approx(((x - x.mean()) ** 2).sum())
    assert said == ["once"]
    # A job that pools the last pass needs no answers of the first.
    last = fit()
    one = gone_on(last, [np.array([x.sum(), 6])])
    assert ended(last, one.pool(map(one.ask, drives.pieces()))) == in_one_process(fit())
    first = fit()
    gone_on(first, [])
    with pytest.raises(RuntimeError, match="another pass"):
        ended(first, np.array([1.0, 1]))


@dataclass(frozen=True)
class SumsOf:
    """Asks a piece for its golfers' numbers and how far its drives carry, and tells in which process."""

    often: float

    def __call__(self, piece):
        carry_yd = self.often * piece.drives["carry_standard_yd"].sum()
        return int(piece.golfer.min()), int(piece.golfer.max()), carry_yd, os.getpid()


def test_halves_are_asked_in_two_processes_and_answer_as_the_whole_does(tmp_path, world_maker):
    few = world_maker(golfers=60).drives.sort("golfer")
    few = few.with_columns(pl.col("golfer").cast(pl.String), curve_yd=pl.lit(None, pl.Float64))
    copies = 3 * drives_file.PIECE_ROWS // few.height + 1
    path = tmp_path / "drives.parquet"
    pl.concat(few.with_columns(pl.concat_str(pl.lit(f"{k:03d}-"), "golfer").alias("golfer")) for k in range(copies))\
        .write_parquet(path, row_group_size=drives_file.PIECE_ROWS)  # fmt: skip
    every = open_drives(path)
    whole = [SumsOf(2.0)(piece) for piece in every.pieces()]
    firsts = {piece.drives.item(0, "golfer"): int(piece.golfer.min()) for piece in every.pieces()}
    assert len(whole) == 5  # the study's last golfer stands alone

    with sum_fit.in_halves(str(path), None) as asked:
        passes = [list(asked(Pass(replace(every, firsts=firsts), SumsOf(often), list))) for often in (2.0, 3.0)]

    assert [answer[:3] for answer in passes[0]] == [answer[:3] for answer in whole]
    assert [answer[2] for answer in passes[1]] == [SumsOf(3.0)(piece)[2] for piece in every.pieces()]
    processes = [[answer[-1] for answer in answers] for answers in passes]
    assert processes[0] == processes[1]
    assert len(set(processes[0])) == 2
    assert processes[0][0] == os.getpid() != processes[0][-1]


@pytest.mark.parametrize(("threads", "rows", "halved"), [("2", 8, True), ("2", 7, False), ("1", 8, False)])
def test_only_a_large_fit_with_two_threads_is_halved(tmp_path, monkeypatch, threads, rows, halved):
    monkeypatch.setenv("YARDBAND_THREADS", threads)
    monkeypatch.setattr(sum_fit, "HALVED_DRIVES", 8)
    path = tmp_path / "drives.parquet"
    pl.DataFrame({"golfer": ["g"] * rows}).write_parquet(path)
    assert sum_fit.is_halved(str(path)) is halved
