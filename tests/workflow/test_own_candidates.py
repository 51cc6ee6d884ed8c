"""A researcher's own candidate through the real workflow: chosen, kept, asked, changed and wrong."""

import csv
import shutil
import subprocess
import sys

import pytest

pytestmark = pytest.mark.bench

MINE = '''\
"""Carry falls off on both sides of a best launch and a best spin."""

NAME = "mine"
SPEED = "ball"


def terms(speed, launch, spin):
    faster = speed - 135
    return {
        "intercept": 0 * speed + 1,
        "speed": faster,
        "speed^2": faster**2,
        "launch": (launch - 14 + 0.04 * faster) ** 2,
        "spin": ((spin - 2600 + 12 * faster) / 1000) ** 2,
        "launch by spin": (launch - 14) * (spin - 2600) / 1000,
    }
'''
SETTINGS = """
bands: {centres: [90, 100]}
model:
  candidates: [line]
  formulas: {curved: "bs(ball, df=4) + launch + cr(spin, df=4)"}
  own: [candidates/mine.py]
  choose: mine
  folds: 5
  replicates: 50
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory, root):
    """A study of the demo's newest logs of one site, with an own candidate and a formula."""
    folder = tmp_path_factory.mktemp("own")
    study = folder / "hill"
    (study / "candidates").mkdir(parents=True)
    (study / "logs").mkdir()
    shutil.copy(root / "data_demo/logs/bay_2026q3.csv", study / "logs")
    (study / "candidates/mine.py").write_text(MINE, encoding="utf-8")
    logs = (
        'study: hill\nlogs:\n  - {files: "logs/*.csv", site: bay, ball: premium, air: {altitude_m: 12, temp_c: 18}}\n'
    )
    (study / "study.yaml").write_text(logs + SETTINGS, encoding="utf-8")
    asked(root, folder, "key", "hill")
    return folder


def asked(root, folder, *words):
    """Run a command of `yardband`."""
    return subprocess.run(
        [sys.executable, "-m", "pipeline", *words], cwd=folder, env={"PYTHONPATH": str(root)},
        capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_an_own_candidate_goes_the_whole_way(folder, root, snakemake):
    ran = snakemake(folder, "results/hill/report/lookup.html", "results/hill/model/verdict.json", study="hill")
    assert ran.returncode == 0, ran.stderr
    model = folder / "results/hill/model"
    with (model / "scores.csv").open(encoding="utf-8", newline="") as file:
        scores = {row["model"]: row for row in csv.DictReader(file)}
    assert list(scores) == ["line", "mine", "curved"]
    assert [name for name, row in scores.items() if row["chosen"] == "true"] == ["mine"]
    assert float(scores["mine"]["rmse_yd"]) < 0.6 * float(scores["line"]["rmse_yd"])
    terms = [row.split(",")[1] for row in (model / "coefficients.csv").read_text().splitlines() if row[:5] == "mine,"]
    assert terms[:6] == ["intercept", "speed", "speed^2", "launch", "spin", "launch by spin"]
    # What answers needs no file of the candidate.
    (folder / "hill/candidates/mine.py").rename(folder / "mine.py")
    answer = asked(root, folder, "lookup", "95", "--results", "results/hill")
    (folder / "mine.py").rename(folder / "hill/candidates/mine.py")
    assert answer.returncode == 0, answer.stderr
    assert "efficient" in answer.stdout


def test_the_fit_is_the_same_on_one_core_and_again(folder, snakemake):
    files = ["model.json", "coefficients.csv", "scores.csv", "replicates.npz", "held_out.parquet"]
    first = [(folder / "results/hill/model" / name).read_bytes() for name in files]
    ran = snakemake(folder, "--cores", "1", "--force", "results/hill/model/model.json", study="hill")
    assert ran.returncode == 0, ran.stderr
    assert [(folder / "results/hill/model" / name).read_bytes() for name in files] == first


def test_a_changed_file_is_fitted_again_and_a_wrong_one_told(folder, root, snakemake):
    path, target = folder / "hill/candidates/mine.py", "results/hill/model/scores.csv"
    assert "Nothing to be done" in snakemake(folder, target, study="hill").stderr
    path.write_text(MINE.replace("/ 1000) ** 2", "/ 500) ** 2"), encoding="utf-8")
    ran = snakemake(folder, "-n", target, study="hill")
    assert "fit_model" in ran.stdout
    assert "standardise_shots" not in ran.stdout
    path.write_text(MINE.replace("faster**2", "faster[10**9]"), encoding="utf-8")
    ran = snakemake(folder, target, study="hill")
    assert ran.returncode != 0
    log = (folder / "logs/hill/fit_model.log").read_text(encoding="utf-8")
    assert log.startswith("hill/candidates/mine.py, line 12: IndexError: index 1000000000 is out of bounds")
    assert log.endswith("; correct the file.\n")
    assert "Traceback" not in log + ran.stderr
    path.write_text(MINE.replace("def terms", "def"), encoding="utf-8")
    told = "hill/candidates/mine.py, line 7: isn't valid Python (invalid syntax); correct it."
    ran = snakemake(folder, target, study="hill")
    assert ran.returncode != 0
    assert told in ran.stderr
    checked = asked(root, folder, "check", "hill")
    assert (checked.returncode, checked.stderr) == (2, f"{told}\n")
