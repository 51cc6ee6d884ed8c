"""One real run of the demo study, shared by the tests of the whole workflow."""

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

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


def run_snakemake(folder, *arguments, study=ROOT / "data_demo"):
    """Run the real workflow with `folder` as the working directory, so that results stay there."""
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    where = ["-s", str(ROOT / "Snakefile"), "--directory", str(folder)]
    done = subprocess.run(
        [sys.executable, "-m", "snakemake", "--cores", "2", *where, *arguments, "--config", f"study={study}"],
        capture_output=True,
        text=True,
        env=environment,
        check=False,
        timeout=300,
    )
    return Run(folder, done.stdout, done.stderr, done.returncode)


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    run = run_snakemake(tmp_path_factory.mktemp("demo"))
    assert run.returncode == 0, run.stderr
    return run


@pytest.fixture(scope="session")
def snakemake():
    return run_snakemake


@pytest.fixture(scope="session")
def root():
    return ROOT
