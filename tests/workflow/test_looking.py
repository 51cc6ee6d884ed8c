"""What a researcher types to look at the workflow works as typed; changed code is made anew, and failures are found."""

import os
import re
import shutil
import subprocess
import sys

import forked
import pytest
from steps import ROOT
from workflow_page import document

LOOKS = {
    "--dag": "digraph snakemake_dag",
    "--rulegraph": "digraph snakemake_dag",
    "--summary": "output_file",
    "--unlock": "",
    "-n": "Nothing to be done",
    "--list-changes=code": "",
}


def snakemake(folder, *arguments, root=ROOT):
    where = ["-s", str(root / "Snakefile"), "--directory", str(folder)]
    command = ["-m", "snakemake", *where, *arguments, "--config", f"study={ROOT / 'data_demo'}"]
    environment = os.environ | {"PYTHONPATH": str(root)}
    if root == ROOT:
        return forked.run(command, folder, environment)
    command = [sys.executable, *command]
    return subprocess.run(command, capture_output=True, text=True, check=False, env=environment, cwd=folder)


@pytest.mark.parametrize("look", LOOKS)
def test_looking_needs_no_cores(demo, look):
    done = snakemake(demo.folder, *look.split("="))
    assert done.returncode == 0, done.stderr
    assert LOOKS[look] in done.stdout


def test_the_report_has_what_a_person_reads(demo, tmp_path):
    done = snakemake(demo.folder, "--report", str(tmp_path / "report.html"))
    assert done.returncode == 0, done.stderr
    text = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert [
        name for name in ("academy.html", "lookup.html", "golfers.xlsx", "diagnostics.html") if name not in text
    ] == []


def test_the_workflow_has_no_lint():
    done = forked.run(["-m", "snakemake", "--lint"], ROOT, os.environ | {"PYTHONPATH": str(ROOT)})
    assert done.returncode == 0, done.stderr


def test_the_picture_of_the_workflow_is_not_stale():
    assert (ROOT / "docs/workflow.md").read_text(encoding="utf-8") == document(), (
        "a rule changed: make the page again by python docs/make/workflow_page.py > docs/workflow.md"
    )


def planned(done):
    """Name the rules that a dry run would run, without `all`."""
    return set(re.findall(r"^(\w+) +\d+$", done.stdout, flags=re.MULTILINE)) - {"all", "total"}


@pytest.fixture
def code(tmp_path):
    """A copy of the code, to be changed."""
    for name in ("pipeline", "profiles"):
        shutil.copytree(ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("__pycache__"))
    (tmp_path / "tests").mkdir()
    for name in ("Snakefile", "environment.yaml", "tests/studies.smk"):
        shutil.copy(ROOT / name, tmp_path / name)
    (tmp_path / "docs/evidence").mkdir(parents=True)
    shutil.copytree(ROOT / "docs/evidence/speed", tmp_path / "docs/evidence/speed")
    return tmp_path


def test_a_changed_constant_is_made_anew_where_it_is_used_and_a_comment_nowhere(demo, code):
    flags = code / "pipeline/golfers/flags.py"
    text = flags.read_text(encoding="utf-8")
    flags.write_text(text + "\n# A remark.\n", encoding="utf-8")
    assert planned(snakemake(demo.folder, "-n", root=code)) == set()

    diagnostics = code / "pipeline/report/diagnostics/write_diagnostics.py"
    changed = diagnostics.read_text(encoding="utf-8").replace("MOST_GOLFERS = 5000", "MOST_GOLFERS = 4000")
    diagnostics.write_text(changed, encoding="utf-8")
    # The record of the run has a digest of the page.
    assert planned(snakemake(demo.folder, "-n", root=code)) == {"write_diagnostics", "summarise_run"}


def test_a_failed_step_is_named_with_its_log_which_has_its_lines(copied, snakemake):
    _, folder = copied
    (folder / "results/twin-valleys/golfers/progress.csv").write_text("no,progress\n1,2\n", encoding="utf-8")
    done = snakemake(folder, "--forcerun", "write_report", study="study")
    assert done.returncode != 0
    [said] = {line for line in done.stderr.splitlines() if "valid Progress table" in line}
    logs = re.findall(r"See (\S+\.log) for what went wrong\.", done.stderr)
    assert "logs/twin-valleys/write_report.log" in logs
    assert (folder / "logs/twin-valleys/write_report.log").read_text(encoding="utf-8").rstrip() == said
    last = [line for line in done.stderr.splitlines() if line.strip()][-1]
    assert last.startswith("See logs/")


def test_the_rules_are_formatted():
    rules = ["Snakefile", "pipeline", "tests"]
    done = subprocess.run(
        [sys.executable, "-m", "snakefmt", "--check", *rules], capture_output=True, text=True, check=False, cwd=ROOT
    )
    assert done.returncode == 0, done.stderr
