"""Every command that the papers print runs: quick ones as they are, whole runs as dry runs."""

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import forked
import polars as pl
import pytest
from served import PHONE, asked, served

from pipeline.cli import cli
from pipeline.collect.key import make_key

ROOT = Path(__file__).parents[2]
PAPERS = ("*.md", "docs/*.md", "data_demo/README.md", "profiles/slurm/README.md", "results/README.md")
PROGRAMS = ("yardband ", "snakemake ", "python ", "pytest ", "pip ", "bash ", "ruff ", "aws ")

# Commands that aren't run here, by their beginning, and why.
NOT_RUN = {
    "python3 -m venv": "it installs; CI runs the README's",
    "pip install": "it installs",
    "aws s3": "it needs a bucket",
    "snakemake --default-storage-provider s3": "it needs a bucket; tests/workflow/test_bucket.py runs it",
    "bash .ci/run": "it runs this",
    "ruff check": "CI runs the parts",
    "python data_demo/make_demo.py": "tests/demo runs it",
    "python tests/proving_ground/prove.py": "it takes minutes; tests/proving_ground runs its parts",
    "python tests/speed/side_by_side.py": "it takes minutes, and its figures are evidence",
    "python -m pipeline": "steps run in the workflow",
    "yardband run": "it takes minutes; tests/collect/test_first_study.py and tests/workflow/test_run.py run it",
}

# What the output of a script has that no other one says.
SAID = {
    "compare_runs.py": "the same figures",
    "evidence_made.py": "docs/evidence/",
    "measured_flights.py": "| launch angles | 130 mph |",
}


def printed():
    """Give the commands of the papers, in blocks and in lines, without the folder of their programs."""
    found = set()
    for text in (path.read_text(encoding="utf-8") for pattern in PAPERS for path in ROOT.glob(pattern)):
        for block in re.findall(r"```sh\n(.*?)```", text, flags=re.DOTALL):
            found |= {line.strip() for line in block.replace("\\\n", " ").split("\n") if line.strip()}
        inline = [
            plain.replace("\n", " ") for plain in re.findall(r"`([^`]+)`", re.sub("```.*?```", "", text, flags=re.S))
        ]
        found |= {line for line in inline if line.removeprefix(".venv/bin/").startswith(PROGRAMS)}
    return sorted({re.sub(r"\s+", " ", line.removeprefix(".venv/bin/")) for line in found})


COMMANDS = [line for line in printed() if not line.startswith(tuple(NOT_RUN))]


def those_of(program):
    return [line for line in COMMANDS if line.split()[0] == program]


def test_every_command_has_its_test():
    assert len(COMMANDS) > 25
    assert {line.split()[0] for line in COMMANDS} == {"yardband", "snakemake", "pytest", "python"}
    for begin in NOT_RUN:
        assert begin == "python -m pipeline" or any(line.startswith(begin) for line in printed()), begin


@pytest.fixture(scope="module")
def place(demo, tmp_path_factory):
    """A folder like the clone after the demo's run: the demo study, its results, a study, and logs of a first one."""
    place = tmp_path_factory.mktemp("place")
    shutil.copytree(ROOT / "data_demo", place / "data_demo")
    (place / "results").symlink_to(demo.folder / "results", target_is_directory=True)
    for name in ("own", "hill"):
        (place / name / "logs").mkdir(parents=True)
        shutil.copy(ROOT / "data_demo/logs/bay_2026q1.csv", place / name / "logs")
    (place / "own/study.yaml").write_text("study: hill-school\nlogs: [{files: logs/*.csv, site: bay}]\n", "utf-8")
    return place


def run(arguments, folder, **changed):
    environment = os.environ | {"PYTHONPATH": str(ROOT)} | changed
    if arguments[0] == "-m":
        return forked.run(arguments, folder, environment)
    command = [sys.executable, *arguments]
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)


def open_or_serve(place, name, arguments):
    """Run a command that shows pages, until they are there; a phone's address is one of this machine's own."""
    page = f"results/twin-valleys/report/{'lookup' if '--phone' in arguments else 'academy'}.html"
    if name == "open":
        done = run(["-m", "pipeline", name, *arguments], place, BROWSER="true")
        assert (done.returncode, done.stdout) == (0, f"{place / page}\n"), done.stderr
        return
    study, *options = arguments
    where = ["--address", PHONE] if "--phone" in options else []
    with served(place, *options, *where, study=study) as server:
        address = server.addresses[0]
        assert asked(address, re.sub("http://[^/]+", "", address))[2] == (place / page).read_bytes()
        assert server.stop()[0] == 0


def manage_models(demo, folder, arguments):
    """Run a command on the demo's kept models, in a folder with a copy of them, since it may decide something."""
    shutil.copytree(demo.results / "model", folder / "results/twin-valleys/model")
    shutil.copy(demo.results / "run.json", folder / "results/twin-valleys")
    given = {"STUDY": str(ROOT / "data_demo"), "ID": "k"}
    done = run(["-m", "pipeline", "models", *(given.get(one, one) for one in arguments)], folder)
    assert done.returncode == 0, done.stderr
    assert re.search("k[0-9a-f]{12}", done.stdout)


@pytest.mark.parametrize("line", those_of("yardband"))
def test_yardband(demo, place, tmp_path, line):
    _, name, *arguments = shlex.split(line)
    assert name in cli.commands
    if not arguments:  # a mention
        arguments = ["--help"]
    if name in ("open", "serve") and "--help" not in arguments:
        open_or_serve(place, name, ["data_demo" if one in ("STUDY", "hill") else one for one in arguments])
        return
    if name == "models" and "--help" not in arguments:
        manage_models(demo, tmp_path, arguments)
        return
    shutil.copytree(place / "own", tmp_path / "own")
    if line != "yardband key STUDY":
        make_key(tmp_path / "own/private/pseudonym.key")
    golfer = pl.read_csv(demo.results / "golfers/goals.csv", infer_schema_length=None).row(0, named=True)["golfer"]
    given = {"STUDY": str(tmp_path / "own"), "PSEUDONYM": golfer}
    if name == "new":  # where there are logs alone
        given = {"hill": str(place / "hill"), "hill/logs": str(place / "hill/logs")}
    else:
        given["hill"] = given["STUDY"]
    done = run(["-m", "pipeline", name, *(given.get(one, one) for one in arguments)], place)
    assert done.returncode == 0, done.stderr
    assert done.stdout
    if name == "lookup" and "--help" not in arguments:
        assert re.search(r"^  carry +\d{3} (yd|m) +\d{3} \1", done.stdout, flags=re.MULTILINE)
    if name == "goal" and "--help" not in arguments:
        assert re.search(r"speed, efficient +\d+ mph", done.stdout)


@pytest.mark.parametrize("line", those_of("snakemake"))
def test_snakemake(demo, place, line):
    (kept,) = (path.name for path in (demo.results / "model/kept").iterdir())
    given = {"study=STUDY": "study=data_demo", "model=ID": f"model={kept}"}
    arguments = [given.get(one, one.replace("=NAME", "=one")) for one in shlex.split(line)[1:]]
    where = ["-s", str(ROOT / "Snakefile"), "--directory", str(place)]
    done = run(["-m", "snakemake", *where, "-n", *arguments], ROOT)
    assert done.returncode == 0, done.stderr
    assert "This was a dry-run" in done.stdout or "Nothing to be done" in done.stdout
    for forced in re.findall(r"--force(?:run)? (\w+)", line):
        assert re.search(rf"^{forced} +1$", done.stdout, flags=re.MULTILINE)
    if "-p" in arguments:
        assert f"YARDBAND_THREADS=1 {sys.executable} -m pipeline.step fit_model '{{" in done.stdout


@pytest.mark.parametrize("line", those_of("pytest"))
def test_pytest(line):
    named = [one for one in shlex.split(line)[1:] if one.startswith("tests")]
    assert all((ROOT / one).exists() for one in named)
    assert named or {"-n", "-m"} & set(shlex.split(line))


@pytest.mark.parametrize("line", those_of("python"))
def test_python(demo, line):
    command, _, written = line.partition(" > ")
    script, *arguments = shlex.split(command)[1:]
    given = {"OLD": str(demo.results), "NEW": str(demo.results)}
    done = run([str(ROOT / script), *(given[one] for one in arguments)], ROOT)
    assert done.returncode == 0, done.stderr
    if written:
        assert done.stdout == (ROOT / written).read_text(encoding="utf-8")
    else:
        assert SAID[Path(script).name] in done.stdout
