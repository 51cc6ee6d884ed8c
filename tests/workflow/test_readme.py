"""The README is true: its commands are what CI and these tests run, and its figures are the demo run's."""

import json
import re
import subprocess
import sys

import pytest


@pytest.fixture(scope="module")
def readme(root):
    return (root / "README.md").read_text(encoding="utf-8")


def block(text, comment):
    """Give the code block under a comment."""
    return re.search(rf"<!-- {comment} -->\n```sh\n(.*?)```", text, flags=re.DOTALL).group(1)


def test_the_demo_command_is_the_run_of_the_tests(readme):
    # The workflow's tests run `snakemake --cores 2` on the same Snakefile; the installation is CI's part.
    assert block(readme, "demo command").strip().endswith(".venv/bin/snakemake --cores 2")


def test_the_test_command_is_what_ci_runs(root, readme):
    script = (root / ".ci/run").read_text(encoding="utf-8")
    awk = re.search(r"awk '(.*?)' README.md", script).group(1)
    found = subprocess.run(["awk", awk, "README.md"], cwd=root, capture_output=True, text=True, check=True).stdout
    assert found == block(readme, "test command")
    assert all(part in found for part in ("ruff check", "ruff format --check", "mypy", "pytest"))


def test_the_two_commands_come_first(readme):
    assert re.findall(r"```sh\n(.*?)```", readme, flags=re.DOTALL)[:2] == [
        block(readme, "demo command"),
        block(readme, "test command"),
    ]


def test_the_example_of_a_lookup_is_the_runs(demo, readme):
    command = [sys.executable, "-m", "pipeline", "lookup", "97", "--json", "--results", str(demo.results)]
    answer = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
    assert (
        f"a usual drive at 97 mph is expected to carry {answer['expected_carry_yd']:.0f} yd, and an efficient one "
        f"carries {answer['efficient_carry_yd']:.0f} yd"
    ) in " ".join(readme.split())


def test_the_pages_that_it_names_are_made(demo, readme):
    part = readme.split("\n## What you see\n")[1].split("\n## ")[0]
    named = re.findall(r"^\| \w+ \| `(.+?)` \|", part, flags=re.MULTILINE)
    assert len(named) == 4
    assert all((demo.results / name).is_file() for name in named)
    assert f"`results/{demo.results.name}/`" in part
