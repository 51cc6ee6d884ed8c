"""The same workflow on Slurm, by the profile that the project ships: the results are those of a run without it.

The run needs Debian's slurm-wlm and munge and the rights of root: `pytest -m long -rs tests/workflow/test_slurm.py`.
"""

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import polars as pl
import pytest
import yaml
from faults import contents
from single_slurm import finished_jobs, single_slurm, why_not

from pipeline.step import MODULES

LIMIT_S = 1500
# Without accounting squeue tells when a job has ended, and there is no account to guess. Jobs here last seconds.
HERE = ["--slurm-status-command", "squeue", "--slurm-no-account", "--slurm-init-seconds-before-status-checks", "6"]
HERE += ["--latency-wait", "5", "--cores", "4", "--default-resources", "slurm_partition=single", "mem_mb=1000"]


@dataclass(frozen=True)
class SlurmRun:
    """A run through Slurm: its results, what Snakemake submitted, what Slurm says it finished."""

    results: Path
    submitted: int
    finished: list


@pytest.fixture(scope="module")
def through_slurm(root, tmp_path_factory):
    if reason := why_not():
        pytest.skip(reason)
    folder = tmp_path_factory.mktemp("slurm")
    command = [sys.executable, "-m", "snakemake", "-s", str(root / "Snakefile"), "--directory", str(folder)]
    command += ["--profile", str(root / "profiles/slurm"), *HERE, "--config", f"study={root / 'data_demo'}"]
    with single_slurm():
        done = subprocess.run(
            command,
            capture_output=True,
            text=True,
            env=os.environ | {"PYTHONPATH": str(root)},
            check=False,
            timeout=LIMIT_S,
        )
        finished = finished_jobs()
    assert done.returncode == 0, done.stderr
    return SlurmRun(folder / "results/twin-valleys", done.stderr.count("submitted with SLURM jobid"), finished)


@pytest.mark.long
def test_the_results_are_those_of_a_local_run(through_slurm, demo):
    assert contents(through_slurm.results) == contents(demo.results)


@pytest.mark.long
def test_slurm_ran_every_step_and_each_log_was_a_job_of_its_own(through_slurm, demo):
    logs = pl.read_csv(demo.results / "sources.csv")["source"].to_list()
    assert len(through_slurm.finished) == through_slurm.submitted
    collected = [f"rule_collect_log_wildcards_{source.replace('/', '_')}" for source in logs]
    assert {*collected, "rule_load_shots", "rule_fit_model", "rule_build_bands"} <= set(through_slurm.finished)


def test_the_profile_groups_steps_that_exist(root):
    profile = yaml.safe_load((root / "profiles/slurm/config.yaml").read_text(encoding="utf-8"))
    assert profile["executor"] == "slurm"
    assert set(profile["groups"]) <= set(MODULES)
    assert set(profile["group-components"]) <= set(profile["groups"].values())
