"""One real run of the demo study, shared by the tests of the whole workflow."""

import os
import shutil
from dataclasses import dataclass
from pathlib import Path

import forked
import polars as pl
import pytest
from keys import own_key

from pipeline.collect.key import read_key
from pipeline.collect.pseudonym import pseudonym

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Run:
    """A finished run: where it ran, what it said."""

    folder: Path
    stdout: str
    stderr: str
    returncode: int

    @property
    def results(self):
        return self.folder / "results" / "twin-valleys"


def run_snakemake(folder, *arguments, study=ROOT / "data_demo", **config):
    """Run the real workflow with `folder` as the working directory, so that results stay there."""
    given = [f"study={study}", *(f"{name}={value}" for name, value in config.items())]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    where = ["-s", str(ROOT / "Snakefile"), "--directory", str(folder)]
    command = ["-m", "snakemake", "--cores", "2", *where, *arguments, "--config", *given]
    done = forked.run(command, Path.cwd(), environment, timeout_s=600)
    return Run(folder, done.stdout, done.stderr, done.returncode)


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    run = run_snakemake(tmp_path_factory.mktemp("demo"))
    assert run.returncode == 0, run.stderr
    return run


@pytest.fixture(scope="session")
def planted():
    """The demo's truth.csv under the pseudonyms of its run."""
    key = read_key(ROOT / "data_demo/private/pseudonym.key", "twin-valleys")
    truth = pl.read_csv(ROOT / "data_demo/truth.csv", infer_schema_length=None)
    names = truth.get_column("golfer").cast(pl.String)
    known = {name: pseudonym(name, key, "golfer") for name in names.unique()}
    return truth.with_columns(names.replace_strict(known).alias("golfer"))


@pytest.fixture(scope="session")
def aged(tmp_path_factory):
    """The demo study copied into the folder where it runs, its files' times set back, run on one core."""
    folder = tmp_path_factory.mktemp("aged")
    shutil.copytree(ROOT / "data_demo", folder / "study")
    for path in (folder / "study").rglob("*"):
        os.utime(path, (1_700_000_000, 1_700_000_000))
    run = run_snakemake(folder, "--cores", "1", study="study")
    assert run.returncode == 0, run.stderr
    return run


@pytest.fixture(scope="session")
def rekeyed(tmp_path_factory):
    """As `aged`, under a secret key, so that the logs may be changed."""
    folder = tmp_path_factory.mktemp("rekeyed")
    shutil.copytree(ROOT / "data_demo", folder / "study")
    own_key(folder / "study")
    for path in (folder / "study").rglob("*"):
        os.utime(path, (1_700_000_000, 1_700_000_000))
    run = run_snakemake(folder, "--cores", "1", study="study")
    assert run.returncode == 0, run.stderr
    return run


@pytest.fixture
def copied(rekeyed, tmp_path):
    """A copy of `rekeyed`, study, results, times and all, to be changed; gives the study and the folder."""
    folder = tmp_path / "run"
    shutil.copytree(rekeyed.folder, folder)
    return folder / "study", folder


@pytest.fixture(scope="session")
def keyed():
    return own_key


@pytest.fixture(scope="session")
def snakemake():
    return run_snakemake


@pytest.fixture(scope="session")
def root():
    return ROOT
