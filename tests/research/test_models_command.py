"""`yardband models`: what it lists and shows, what a person decides, and what it says of the next run."""

import fcntl
import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from rows import table_of

from pipeline.cli import cli
from pipeline.edge.artefacts import write_artefact
from pipeline.fit.kept import FILES, keep, package_versions, read_decisions
from pipeline.fit.lineage import Data, Decision, Decisions, Pin, Record
from pipeline.fit.verdict import ModelVerdict
from pipeline.research.models_text import quarters_text, settings_texts
from pipeline.tables.figures import Scores

AIR = {"temp_c": 15.0, "pressure_hpa": 1013.25, "humidity": 0.0}
ONE, TWO, THREE = (f"k{digit}00000000000" for digit in "123")
CARD = "# Carry model\n\n## Fitted on\n- 600 drives\n\n## How well\nnot shown\n"
GOES_ON = "The next run goes on with it unless new logs or settings bring another fit."


def record(name, number, parent, verdict, air=AIR):
    quarters = [f"2026Q{quarter}" for quarter in range(1, number + 1)]
    return Record(
        id=name, number=number, parent=parent, verdict=verdict, reasons=["worse"] if verdict == "keep" else [],
        data=Data(fingerprint="f" * 64, quarters=quarters, drives=600 * number, golfers=20),
        settings={"air": air, "seed": 1}, versions=package_versions() | {"numpy": "1.0"},
    )  # fmt: skip


def kept_in(tmp_path, records):
    files = {name: str(tmp_path / file) for name, file in FILES.items()}
    for path in files.values():
        Path(path).write_text("content\n", encoding="utf-8")
    scores = [
        {"model": name, "rmse_yd": rmse, "chosen": name == "flight"} for name, rmse in (("line", 9.0), ("flight", 3.14))
    ]
    table_of(Scores, scores).write_csv(files["scores"])
    Path(files["card"]).write_text(CARD, encoding="utf-8")
    for one in records:
        keep(tmp_path / "results/hill/model/kept", one, files)


@pytest.fixture
def home(tmp_path, monkeypatch):
    """A study whose newest fit, the third, is refused, so that the second is in use."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "study").mkdir()
    (tmp_path / "study/study.yaml").write_text("study: hill\nlogs: [{files: logs/*.csv}]\n", encoding="utf-8")
    kept_in(tmp_path, [record(ONE, 1, None, "first"), record(TWO, 2, ONE, "adopt"), record(THREE, 3, TWO, "keep")])
    home = tmp_path / "results/hill"
    write_artefact(home / "model/verdict.json", ModelVerdict(THREE, TWO, "keep", ("worse",)))
    (home / "run.json").write_text(json.dumps({"model": {"id": TWO}}), encoding="utf-8")
    return home


def models(*arguments, study="study"):
    return CliRunner().invoke(cli, ["models", study, *arguments])


def decisions(home):
    return read_decisions(home / "model/kept")


@pytest.mark.usefixtures("home")
def test_the_list_has_a_row_a_model_and_says_what_the_next_run_does():
    found = models("list")
    assert found.exit_code == 0
    assert found.stdout.splitlines() == [
        "number  id             quarters          drives  golfers  candidate  rms error  verdict       state    in use",
        f"     1  {ONE}  2026Q1               600       20  flight        3.1 yd  first         adopted",
        f"     2  {TWO}  2026Q1, 2026Q2     1,200       20  flight        3.1 yd  adopt         adopted  yes",
        f"     3  {THREE}  2026Q1 to 2026Q3   1,800       20  flight        3.1 yd  keep the old  refused",
        f"Golfers are measured with {TWO}, the newest adopted model. {GOES_ON}",
    ]


@pytest.mark.usefixtures("home")
def test_the_list_as_json_has_whole_figures():
    found = json.loads(models("list", "--json").stdout)
    assert [one["id"] for one in found] == [ONE, TWO, THREE]
    assert found[2] == {
        "number": 3, "id": THREE, "parent": TWO, "quarters": ["2026Q1", "2026Q2", "2026Q3"], "drives": 1800,
        "golfers": 20, "candidate": "flight", "rmse_yd": 3.14, "verdict": "keep", "state": "refused",
        "decided_by_a_person": False, "because": None, "in_use": False, "pinned": False, "next": False,
    }  # fmt: skip
    assert [one["next"] for one in found] == [False, True, False]


@pytest.mark.usefixtures("home")
def test_a_model_is_shown_by_any_beginning_of_its_id():
    lines = models("show", "k3").stdout.splitlines()
    assert lines[:7] == [
        f"Model: {THREE}, number 3",
        "State: refused",
        f"Verdict: keep the old, compared with {TWO}: worse",
        "Fitted on: 1,800 drives of 20 golfers, 2026Q1 to 2026Q3",
        "Score: flight, rms error 3.14 yd on golfers held out",
        "Settings: air 15 deg C, 1013.25 hPa and humidity 0; seed 1",
        f"Versions that changed since: numpy 1.0, now {package_versions()['numpy']}",
    ]
    assert lines[-4:] == ["# Carry model", "", "## Fitted on", "- 600 drives"]
    found = json.loads(models("show", "k3", "--json").stdout)
    assert (found["id"], found["settings"], found["reasons"]) == (THREE, {"air": AIR, "seed": 1}, ["worse"])


def test_a_refused_model_is_adopted_with_a_reason(home):
    found = models("adopt", "k3", "--because", "Two bays were closed.")
    assert found.stdout == (
        f"{THREE}: adopted. Run snakemake again: golfers will be measured with {THREE}, the newest fit.\n"
    )
    assert decisions(home) == Decisions(decided={THREE: Decision(decision="adopt", because="Two bays were closed")})
    assert "State: adopted by a person (Two bays were closed)" in models("show", "k3").stdout
    assert models("adopt", "k3", "--because", "Two bays were closed").stdout.startswith(f"{THREE}: already adopted. ")


def test_an_adopted_model_is_refused(home):
    found = models("refuse", "k2")
    assert found.stdout == (
        f"{TWO}: refused. Run snakemake again: golfers will be measured with {ONE}, the newest adopted model.\n"
    )
    before = decisions(home)
    last = models("refuse", "k1")
    assert last.exit_code == 2
    assert last.stderr == f"{ONE}: is the only adopted model, and a study needs one. Adopt another first.\n"
    assert decisions(home) == before


def test_a_model_is_pinned_and_let_go(home):
    found = models("use", "k3", "--because", "one yardstick")
    assert found.stdout == (
        f"{THREE}: pinned. Run snakemake again: golfers will be measured with {THREE}, which is pinned.\n"
    )
    assert decisions(home).use == Pin(id=THREE, because="one yardstick")
    (home / "run.json").write_text(json.dumps({"model": {"id": THREE}}), encoding="utf-8")
    assert models("list").stdout.endswith("which is pinned. The next run goes on with it.\n")
    assert "  yes, pinned\n" in models("list").stdout
    freed = models("use", "newest")
    assert freed.stdout == (
        f"No model is pinned. Run snakemake again: golfers will be measured with {TWO}, the newest adopted model.\n"
    )
    assert decisions(home) == Decisions()


def test_a_pinned_model_whose_folder_is_gone_can_be_let_go(home):
    models("use", "k3")
    for path in (home / "model/kept" / THREE).iterdir():
        path.unlink()
    (home / "model/kept" / THREE).rmdir()
    assert models("use", "newest").exit_code == 0
    assert decisions(home).use is None


def test_a_model_of_other_standard_conditions_can_not_be_pinned(home, tmp_path):
    kept_in(tmp_path, [record("k400000000000", 4, TWO, "adopt", AIR | {"temp_c": 30.0})])
    found = models("use", "k4")
    assert found.exit_code == 2
    assert "was fitted to standard conditions of 30 deg C" in found.stderr
    assert decisions(home) == Decisions()


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (
            ["show", "k9"],
            f"k9: results/hill/model/kept holds no model whose id begins so; there are {ONE}, {TWO}, {THREE}.",
        ),
        (
            ["adopt", "k"],
            f"k: begins more than one id in results/hill/model/kept: {ONE}, {TWO}, {THREE}. Give more of it.",
        ),
        (["compare", "k1", "k10"], f"k1 and k10: both are {ONE}; name two models."),
        (["refuse", "k2", "--because", "a\nb"], "--because: write one line of at most 200 characters."),
        (["use", "newest", "--because", "a"], "--because: goes with an id; use newest takes no reason."),
    ],
)
def test_what_can_not_be_done_is_told_in_a_sentence(home, arguments, told):
    found = models(*arguments)
    assert (found.exit_code, found.stderr) == (2, f"{told}\n")
    assert decisions(home) == Decisions()


def test_nothing_is_decided_while_a_run_is_at_work(home, tmp_path):
    lock = tmp_path / ".snakemake/yardband/hill.lock"
    lock.parent.mkdir(parents=True)
    with lock.open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        found = models("refuse", "k2")
    assert found.exit_code == 2
    assert found.stderr == "results/hill: a run is at work on this study; wait until it has ended, then try again.\n"
    assert decisions(home) == Decisions()
    assert models("refuse", "k2").exit_code == 0


@pytest.mark.usefixtures("home")
def test_results_elsewhere_are_named(tmp_path):
    (tmp_path / "results").rename(tmp_path / "elsewhere")
    told = "results/hill/model/kept: no model is kept yet; run snakemake --cores 2 --config study=study first.\n"
    assert models("list").stderr == told
    assert TWO in models("list", "--results", "elsewhere/hill").stdout


def test_a_study_that_was_never_judged_says_what_a_run_does(home):
    (home / "model/verdict.json").unlink()
    (home / "run.json").unlink()
    assert models("list").stdout.endswith("\nRun snakemake again: it chooses the model in use.\n")


def test_quarters_in_a_row_are_shortened():
    assert quarters_text(["2025Q4", "2026Q1", "2026Q2"]) == "2025Q4 to 2026Q2"
    assert quarters_text(["2025Q3", "2026Q1", "2026Q2"]) == "2025Q3, 2026Q1, 2026Q2"
    assert quarters_text(["2025Q4", "2026Q1"]) == "2025Q4, 2026Q1"


def test_settings_inside_others_have_both_names_and_empty_ones_are_left_out():
    found = settings_texts({"model": {"folds": 10, "own": [], "candidates": ["line", "flight"]}, "seed": 1, "x": None})
    assert found == ["model.candidates line, flight", "model.folds 10", "seed 1"]
