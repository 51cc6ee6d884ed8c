"""The same workflow on Slurm, by the profile that the project ships: the results are those of a run without it.

The run needs Debian's slurm-wlm and munge and the rights of root: `pytest -m long -rs tests/workflow/test_slurm.py`.
"""

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import forked
import polars as pl
import pytest
import yaml
from faults import contents
from single_slurm import finished_jobs, single_slurm, why_not
from steps import steps

from pipeline.collect.partitions import LARGE_BYTES

LIMIT_S = 1500
# Without accounting squeue tells when a job has ended, and there is no account to guess. Jobs here last seconds.
HERE = ["--slurm-status-command", "squeue", "--slurm-no-account", "--slurm-init-seconds-before-status-checks", "6"]
HERE += ["--latency-wait", "5", "--cores", "4", "--default-resources", "slurm_partition=single", "mem_mb=1000"]
HERE += ["runtime=30"]
LARGE = ["bay_2026q1.csv", "bay_2026q2.csv", "bay_2026q3.csv"]


@dataclass(frozen=True)
class SlurmRun:
    """A run through Slurm: its results, how many jobs were submitted, what Slurm says it finished."""

    results: Path
    submitted: int
    finished: list


@pytest.fixture(scope="module")
def study(root, keyed, tmp_path_factory):
    """The demo study, its bay logs made large by a column that nobody reads: large logs are collected one by one."""
    if reason := why_not():
        pytest.skip(reason)
    folder = tmp_path_factory.mktemp("study") / "demo"
    shutil.copytree(root / "data_demo", folder)
    keyed(folder)
    for name in LARGE:
        log = folder / "logs" / name
        table = pl.read_csv(log, infer_schema=False)
        filling = "-" * (1 + LARGE_BYTES // table.height)
        table.with_columns(remark=pl.lit(filling)).write_csv(log)
    return folder


@pytest.fixture(scope="module")
def local(study, snakemake, tmp_path_factory):
    run = snakemake(tmp_path_factory.mktemp("local"), study=study)
    assert run.returncode == 0, run.stderr
    return run.results


@pytest.fixture(scope="module")
def through_slurm(study, root, tmp_path_factory):
    folder = tmp_path_factory.mktemp("slurm")
    command = [sys.executable, "-m", "snakemake", "-s", str(root / "Snakefile"), "--directory", str(folder)]
    command += ["--profile", str(root / "profiles/slurm"), *HERE, "--config", f"study={study}"]
    environment = os.environ | {"PYTHONPATH": str(root)}
    with single_slurm():
        done = subprocess.run(command, capture_output=True, text=True, env=environment, check=False, timeout=LIMIT_S)
        finished = finished_jobs()
    assert done.returncode == 0, done.stderr
    return SlurmRun(folder / "results/twin-valleys", done.stderr.count("submitted with SLURM jobid"), finished)


@pytest.mark.long
def test_the_results_are_those_of_a_local_run(through_slurm, local):
    found, expected = contents(through_slurm.results), contents(local)
    assert "report/academy.html" in expected
    assert found == expected


@pytest.mark.long
def test_slurm_finished_every_job_and_each_partition_was_one(through_slurm):
    assert len(through_slurm.finished) == through_slurm.submitted
    collected = {f"rule_collect_logs_wildcards_logs_{name}" for name in LARGE}
    collected.add("rule_collect_logs_wildcards_small_1-of-1")
    assert {job for job in through_slurm.finished if job.startswith("rule_collect_logs")} == collected
    assert {"rule_load_shots", "rule_standardise_shots", "rule_fit_model"} <= set(through_slurm.finished)


def test_the_profile_groups_steps_that_exist(root):
    profile = yaml.safe_load((root / "profiles/slurm/config.yaml").read_text(encoding="utf-8"))
    assert profile["executor"] == "slurm"
    assert set(profile["groups"]) <= set(steps())
    assert set(profile["group-components"]) <= set(profile["groups"].values())


@pytest.mark.parametrize("parts", [1, 2])
def test_no_job_of_the_group_waits_for_one_that_waits_for_the_group(root, tmp_path, parts):
    command = ["-m", "snakemake", "-s", str(root / "Snakefile"), "--directory", str(tmp_path), "-n"]
    command += ["--profile", str(root / "profiles/slurm"), "--config", f"study={root / 'data_demo'}", f"parts={parts}"]
    planned = forked.run(command, tmp_path, os.environ | {"PYTHONPATH": str(root)})
    assert planned.returncode == 0, planned.stderr
    assert "assess_progress" in planned.stderr + planned.stdout
