"""Steps forked from a process with libraries: real processes, of a copy of the package that has a step to try."""

import ast
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest
from steps import steps

from pipeline.handover import ADDRESS
from pipeline.running.forked_steps import LATER, only_looks
from pipeline.workflow import modules_of

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="elsewhere steps start by themselves")

PROBE = """
import os, sys, time
import pipeline.run_step
from pipeline.threads import SecondProcess

def parent_and_environment(_):
    return os.getppid(), os.environ["OWN"], os.environ["YARDBAND_THREADS"]

def run(what, text=""):
    print(os.getppid(), os.environ.get("OWN"), len(text), "polars" in sys.modules, flush=True)
    if what == "refuse":
        raise pipeline.run_step.UserError("a: is empty; add rows.")
    if what == "die":
        os.kill(os.getpid(), 9)
    if what == "read":
        print(sys.stdin.read())
    if what == "wait":
        time.sleep(60)
    if what.startswith("second"):
        with SecondProcess() as other:
            other.begin(time.sleep, 60 if what == "second waits" else 0)
            print("begun", flush=True)
            other.made()
            other.begin(parent_and_environment, None)
            print(*other.made())
"""
RUN = f"""
import os, sys
from pipeline.running import forked_steps
process = forked_steps.start(sys.argv[1:2])
if len(sys.argv) > 1:
    forked_steps.load(process, sys.argv[2:])
else:
    forked_steps.stop(process)
print(os.environ.get("{ADDRESS}"), flush=True)
sys.stdin.read()
"""
LIMIT_S = 60
# Those of which a part may be imported late; others are there with the modules that take them.
LIBRARIES = ("pyarrow", "scipy", "statsmodels")


class Run:
    """A run's process, in a folder of its own."""

    def __init__(self, folder, steps=("probe",), **given):
        self.folder = folder
        if not (folder / "pipeline").exists():
            shutil.copytree(ROOT / "pipeline", folder / "pipeline", ignore=shutil.ignore_patterns("__pycache__"))
            (folder / "pipeline/probe.py").write_text(PROBE, encoding="utf-8")
        self.environment = os.environ | {"PYTHONPATH": str(folder), "YARDBAND_LOG": "probe.log", "OWN": "mine"} | given
        self.process = subprocess.Popen(
            [sys.executable, "-c", RUN, *steps],
            cwd=folder,
            env=self.environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self.address = self.process.stdout.readline().strip()

    @property
    def forking(self):
        [child] = psutil.Process(self.process.pid).children()
        return child

    def begin(self, what, **given):
        """Start the step as a rule does; it prints its parent's number first."""
        address = given.pop("address", self.address)
        return subprocess.Popen(
            [sys.executable, "-m", "pipeline.step", "probe", json.dumps({"what": what}), json.dumps(given)],
            cwd=self.folder,
            env=self.environment | {ADDRESS: address},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def end(self):
        self.process.kill()
        self.process.communicate()


@pytest.fixture
def run(tmp_path):
    one = Run(tmp_path)
    yield one
    one.end()


def ended(process, given=None):
    """Wait for a step; give its parent, what else it said of itself, and how it ended."""
    out, err = process.communicate(given, timeout=LIMIT_S)
    parent, *said = out.split()
    return int(parent), said, (process.returncode, err)


def test_a_step_is_forked_with_its_own_environment_streams_and_log(run):
    parent, said, outcome = ended(run.begin("read", text="x" * 100_000), "from its own input")
    assert parent == run.forking.pid
    assert said == ["mine", "100000", "False", "from", "its", "own", "input"]
    assert outcome == (0, "")
    assert (run.folder / "probe.log").read_text(encoding="utf-8").splitlines()[-1] == "Done."


@pytest.mark.parametrize(
    "steps", [("write_intervals", "probe"), ("probe", "write_intervals")], ids=["at once", "later"]
)
def test_what_steps_import_is_there_before_they_ask(tmp_path, steps):
    run = Run(tmp_path, steps)
    for _ in range(100):
        _, said, _ = ended(run.begin("nothing"))
        if said == ["mine", "0", "True"]:
            break
        time.sleep(0.1)
    run.end()
    assert said == ["mine", "0", "True"]


def test_a_step_ends_as_it_would_by_itself(run):
    parent, _, outcome = ended(run.begin("refuse"))
    assert (parent, outcome) == (run.forking.pid, (2, "a: is empty; add rows.\n"))
    parent, _, outcome = ended(run.begin("die"))
    assert (parent, outcome) == (run.forking.pid, (-signal.SIGKILL, ""))


def test_steps_run_side_by_side(run):
    first = run.begin("wait")
    assert first.stdout.readline()
    parent, _, outcome = ended(run.begin("nothing"))
    assert (parent, outcome) == (run.forking.pid, (0, ""))
    assert first.poll() is None
    [waiting] = run.forking.children()
    waiting.kill()
    assert ended_badly(first) == (-signal.SIGKILL, "")


def test_a_steps_second_process_is_forked_too_and_ends_with_it(run):
    parent, said, outcome = ended(run.begin("second", text="x"))
    assert parent == run.forking.pid
    assert said == ["mine", "1", "False", "begun", str(parent), "mine", "1"]
    assert outcome == (0, "")
    psutil.wait_procs(run.forking.children(), LIMIT_S)
    assert run.forking.children() == []


def test_a_second_process_at_work_ends_with_a_step_that_is_killed(run):
    asked = run.begin("second waits")
    assert asked.stdout.readline()
    assert asked.stdout.readline() == "begun\n"
    step, second = sorted(run.forking.children(), key=lambda one: one.name() != "probe")
    assert (step.name(), second.name()) == ("probe", "second_process")
    step.kill()
    assert ended_badly(asked) == (-signal.SIGKILL, "")
    assert second.wait(LIMIT_S) is None  # it is no child of ours


def test_a_second_process_starts_by_itself_where_none_is_forked(run):
    _, said, outcome = ended(run.begin("second", address="yardband-none"))
    assert said[:4] == ["mine", "0", "False", "begun"]
    assert said[5:] == ["mine", "1"]
    assert outcome == (0, "")


def test_a_step_ends_with_whoever_waits_for_it(run):
    asked = run.begin("wait")
    assert asked.stdout.readline()
    [step] = run.forking.children()
    asked.kill()
    asked.communicate()
    assert step.wait(LIMIT_S) is None  # it is no child of ours
    assert ended(run.begin("nothing"))[0] == run.forking.pid


def test_an_interrupt_of_all_is_told_by_the_step(run):
    asked = run.begin("wait")
    assert asked.stdout.readline()
    [step] = run.forking.children()
    for process in (run.forking, step):
        process.send_signal(signal.SIGINT)
    asked.send_signal(signal.SIGINT)
    assert ended_badly(asked) == (130, "Stopped.\n")
    assert ended(run.begin("nothing"))[0] == run.forking.pid


def ended_badly(process):
    _, err = process.communicate(timeout=LIMIT_S)
    return process.returncode, err


def test_a_step_starts_by_itself_where_there_is_no_such_process(run):
    elsewhere = ended(run.begin("nothing", address="yardband-none"))
    assert elsewhere == (os.getpid(), ["mine", "0", "False"], (0, ""))
    run.forking.kill()
    assert ended(run.begin("nothing"))[0] == os.getpid()


def test_other_commands_of_a_run_are_not_handed_over(run):
    del run.environment["YARDBAND_LOG"]
    assert ended(run.begin("nothing"))[0] == os.getpid()


def test_the_process_ends_with_the_run_however_that_ends(run):
    forking = run.forking
    run.process.kill()
    assert forking.wait(LIMIT_S) is None


def test_a_run_without_steps_here_forgets_that_of_another_and_ends_its_own(tmp_path):
    run = Run(tmp_path, (), **{ADDRESS: "yardband-another"})
    assert run.address == "None"
    assert psutil.Process(run.process.pid).children() == []
    run.end()


@pytest.mark.parametrize(
    ("arguments", "looks"),
    [
        (("--cores", "2"), False),
        (("--cores", "2", "--config", "study=dry-run"), False),
        (("-n",), True),
        (("-np",), True),
        (("--cores", "2", "--dry-run"), True),
        (("--dryrun",), True),
        (("--dag",), True),
        (("--list-rules",), True),
        (("--summary",), True),
    ],
)
def test_a_look_at_the_workflow_loads_no_libraries(arguments, looks):
    assert only_looks(("snakemake", *arguments)) is looks


def test_what_steps_import_where_they_use_it_is_loaded_too():
    found = set()
    for module in set().union(*map(modules_of, steps().values())):
        path = ROOT.joinpath(*module.split(".")).with_suffix(".py")
        tree = ast.parse(path.read_text(encoding="utf-8"))
        inside = [node for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom) and node.col_offset]
        found |= {name for node in inside for name in named(node) if name.split(".")[0] in LIBRARIES}
    assert found == set(LATER)


def named(node):
    """Name the modules of an import."""
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    return [f"scipy.{alias.name}" for alias in node.names] if node.module == "scipy" else [node.module]


def test_under_a_limit_on_memory_there_is_none(tmp_path):
    limited = f"import resource; resource.setrlimit(resource.RLIMIT_AS, (4 * 10**9,) * 2){RUN}"
    done = subprocess.run(
        [sys.executable, "-c", limited, "load_shots"], cwd=tmp_path, stdin=subprocess.DEVNULL,
        capture_output=True, text=True, check=True, env=os.environ | {"PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert done.stdout == "None\n"
