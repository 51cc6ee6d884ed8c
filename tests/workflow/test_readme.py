"""The README is true: its figures are the demo run's, and its commands work."""

import os
import re
import shlex
import shutil
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
        assert re.search(r"efficient carry +\d{3} yd", answer(command, demo, root))


def test_the_goal_takes_the_speed_that_it_says(demo, root, readme):
    said = answer(blocks(readme)[3].strip(), demo, root)
    speed, lo, hi = re.search(r"speed, efficient +(\S+) mph  90 % interval: (\S+) to (\S+) mph", said).groups()
    assert f"280 yd of carry and run takes {speed} mph (90 % interval {lo} to {hi})" in " ".join(readme.split())


def test_the_golfers_year_is_the_runs(demo, root, readme):
    year = " ".join(readme.split("## One golfer's year")[1].split("\n## ")[0].split())
    golfer = re.match(r"`(g[0-9a-f]{16})`", year).group(1)

    def rows(name):
        table = pl.read_csv(demo.results / name, infer_schema_length=None)
        return table.filter(golfer=golfer).sort("quarter").to_dicts()

    for r in rows("golfers/golfers.csv"):
        assert (
            f"| {r['quarter']} | {r['club_speed_mph']:.1f} mph | {r['launch_deg']:.1f} deg | {r['carry_yd']:.0f} yd "
            f"| {r['efficient_yd']:.0f} yd | {r['lost_yd']:.0f} yd ({r['lost_lo90_yd']:.0f} to "
            f"{r['lost_hi90_yd']:.0f}) | {r['main_cause']} | {r['status']} |"
        ) in year
    for r in rows("golfers/progress.csv"):
        assert (
            f"launch {r['launch_change_deg']:+.1f} deg ({r['launch_change_lo90_deg']:.1f} to "
            f"{r['launch_change_hi90_deg']:.1f}), carry {r['carry_change_yd']:+.0f} yd "
            f"({r['carry_change_lo90_yd']:.0f} to {r['carry_change_hi90_yd']:.0f}), "
        ) in year
        assert f'"{r["launch_verdict"]}"' in year
    assert (
        f"{r['carry_from_delivery_yd']:.0f} yd by delivery, {r['carry_from_speed_yd']:.0f} yd by "
        f"{r['club_speed_change_mph']:.1f} mph more speed, {r['carry_from_other_yd']:.0f} yd other"
    ) in year
    (goal,) = rows("golfers/goals.csv")
    assert (
        f"{goal['goal_yd']:.0f} yd, the next band's efficient carry, is {goal['gap_yd']:.0f} yd off, "
        f"{goal['delivery_yd']:.0f} by delivery and {goal['speed_yd']:.0f} by speed; it takes "
        f"{goal['efficient_speed_mph']:.1f} mph"
    ) in year
    (first,) = rows("golfers/priorities.csv")
    assert (
        f"delivery first ({100 * first['confidence']:.0f} %): golfers here gain {first['speed_gain_mph']:.1f} mph a "
        f"quarter, worth {first['speed_yd']:.0f} yd"
    ) in year
    assert first["first"] == "delivery"
    command = re.search(r"`(yardband goal .*?)`", year).group(1)
    said = answer(f".venv/bin/{command}", demo, root)
    today = re.search(r"today +(\d+ yd)  +90 % interval: (\d+ to \d+) yd", said)
    assert f"{today.group(1)} ({today.group(2)}): reached" in year


@pytest.mark.long
def test_the_first_steps_of_the_year_are_those_of_the_first_quarter(snakemake, tmp_path, root, readme):
    year = " ".join(readme.split("## One golfer's year")[1].split("\n## ")[0].split())
    golfer = re.match(r"`(g[0-9a-f]{16})`", year).group(1)
    study = tmp_path / "study"
    shutil.copytree(root / "data_demo", study, ignore=shutil.ignore_patterns("*_2026q[23].csv", "speed"))
    settings = (study / "study.yaml").read_text(encoding="utf-8")
    (study / "study.yaml").write_text(re.sub(r"speed_logs:\n  - .*\n", "", settings), encoding="utf-8")
    first = snakemake(tmp_path, study=study)
    assert first.returncode == 0, first.stderr

    def row(name):
        return pl.read_csv(first.results / name, infer_schema_length=None).filter(golfer=golfer).row(0, named=True)

    assert f"has the golfer with {row('golfers/flagged.csv')['lost_yd']:.1f} yd lost by launch" in year
    command = re.search(r"`(yardband goal .*?)`", year).group(1)
    said = answer(f".venv/bin/{command}", first, root)

    def told(label):
        return re.search(rf"{label} +(-?[\d.]+) \w+ +90 % interval: (-?[\d.]+ to -?[\d.]+) \w+", said).groups()

    today, gap = told("today"), told("gap to the goal")
    assert f"Today {today[0]} yd ({today[1]}), {gap[0]} yd short, all of it delivery" in year
    assert f"an efficient one carries {told('efficient today')[0]} yd at today's" in year
    assert f"goal takes {told('speed, as now')[0]} mph" in year
    r = row("golfers/delivery.csv")
    more = [
        f"{r[name]:.0f} {{}}({r[f'{name[:-3]}_lo90_yd']:.0f} to {r[f'{name[:-3]}_hi90_yd']:.0f})"
        for name in ("gain_yd", "attack_gain_yd")
    ]
    assert (
        f"attack {r['attack_deg']:.1f} deg, downwards. {r['loft_change_deg']:.1f} deg more loft might bring "
        f"{more[0].format('yd ')}; {r['attack_change_deg']:.0f} deg more attack, with "
        f"{r['attack_loft_change_deg']:.1f} deg more loft, another {more[1].format('')}."
    ) in year


def test_the_golfer_who_practises_is_the_runs(demo, readme):
    year = " ".join(readme.split("## One golfer's year")[1].split("\n## ")[0].split())
    golfer = re.search(r"Of `(g[0-9a-f]{16})`", year).group(1)
    (r,) = (
        pl.read_csv(demo.results / "practice/practice.csv", infer_schema_length=None).filter(golfer=golfer).to_dicts()
    )
    trend = "best_trend_{}mph_per_week"
    assert f"practised {r['sessions_per_week']:.1f} times a week" in year
    assert (
        f"{r[trend.format('')]:.2f} mph a week ({r[trend.format('lo90_')]:.2f} to {r[trend.format('hi90_')]:.2f})"
    ) in year
    assert (
        f"speed reaches the {r['next_band_mph']:.0f} mph band, which begins at {r['next_band_from_mph']:.0f} mph, on "
        f"{r['projected_on']} ({r['projected_lo90_on']} to {r['projected_hi90_on']})"
    ) in year


def answer(command, demo, root):
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
    return done.stdout


def test_every_file_that_it_names_exists(demo, root, readme):
    table = readme.split("## What a run makes")[1].split("## ")[0]
    cells = re.findall(r"^\| (.*?) \|", table, flags=re.MULTILINE)
    named = [name for cell in cells for name in re.findall(r"`(.+?)`", cell)]
    assert len(named) > 10
    for name in named:
        found = list(demo.results.rglob(f"*{name}" if name.startswith(".") else Path(name).name))
        assert found, name
    assert (root / "data_demo/layouts/fell.yaml").is_file()
