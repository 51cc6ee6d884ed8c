"""The README is true: its figures are the demo run's, and its commands work."""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest


@pytest.fixture(scope="module")
def readme(root):
    return (root / "README.md").read_text(encoding="utf-8")


def blocks(text):
    return re.findall(r"```sh\n(.*?)```", text, flags=re.DOTALL)


def test_the_demo_table_shows_the_runs_figures(demo, readme):
    bands = pl.read_csv(demo.results / "benchmarks/bands.csv", infer_schema_length=None).filter(quarter="2026Q3")
    shown = [line for line in readme.splitlines() if re.match(r"\| \d+ mph \|", line)]
    expected = [
        f"| {r['band_mph']:.0f} mph | {r['golfers']} | {r['carry_p50_yd']:.0f} yd | {r['efficient_carry_yd']:.0f} yd "
        f"({r['efficient_lo90_yd']:.0f} to {r['efficient_hi90_yd']:.0f}) | {r['efficient_total_yd']:.0f} yd "
        f"| {r['launch_lo_deg']:.2f} to {r['launch_hi_deg']:.2f} deg "
        f"| {r['spin_lo_rpm']:.0f} to {r['spin_hi_rpm']:.0f} rpm |"
        for r in bands.to_dicts()
    ]
    assert shown == expected


def test_the_demo_command_is_the_run_of_the_tests(readme):
    # The workflow's tests run `snakemake --cores 2` on the same Snakefile; the installation is CI's part.
    assert blocks(readme)[0].strip().endswith(".venv/bin/snakemake --cores 2")


def test_the_test_command_is_what_ci_runs(root, readme):
    script = (root / ".ci/run").read_text(encoding="utf-8")
    awk = re.search(r"awk '(.*?)' README.md", script).group(1)
    found = subprocess.run(["awk", awk, "README.md"], cwd=root, capture_output=True, text=True, check=True).stdout
    assert found == blocks(readme)[1]
    assert all(part in found for part in ("ruff check", "ruff format --check", "mypy", "pytest"))


def test_the_lookups_answer(demo, root, readme):
    commands = blocks(readme)[2].splitlines()
    assert len(commands) == 3
    for command in commands:
        program, *arguments = shlex.split(command)
        assert program == ".venv/bin/yardband"
        done = subprocess.run(
            [sys.executable, "-m", "pipeline", *arguments],
            cwd=demo.folder,
            env=os.environ | {"PYTHONPATH": str(root)},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        assert re.search(r"efficient carry +\d{3} yd", done.stdout)


def test_every_file_that_it_names_exists(demo, root, readme):
    table = readme.split("## What a run makes")[1].split("## ")[0]
    cells = re.findall(r"^\| (.*?) \|", table, flags=re.MULTILINE)
    named = [name for cell in cells for name in re.findall(r"`(.+?)`", cell)]
    assert len(named) > 10
    for name in named:
        found = list(demo.results.rglob(f"*{name}" if name.startswith(".") else Path(name).name))
        assert found, name
    assert (root / "data_demo/layouts/fell.yaml").is_file()
