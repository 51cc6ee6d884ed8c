"""How commands and steps end when they are interrupted, unread or short of memory: real processes."""

import os
import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.ending import MEMORY_RAN_OUT, Outcome, memory_trouble, speaks_of_memory, told

ROOT = Path(__file__).parents[1]
CHECK = [sys.executable, "-m", "pipeline", "check", str(ROOT / "data_demo")]
UNREAD = "Stopped: the program that read this output has ended.\n"


def started(command, limit_bytes=None, **environment):
    """Start a process, with no more memory than a limit."""

    def limited():
        if limit_bytes is not None:
            resource.setrlimit(resource.RLIMIT_AS, (limit_bytes, limit_bytes))

    given = {"PYTHONPATH": str(ROOT), **environment}
    return subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | given,
        preexec_fn=limited,
    )


def test_a_command_whose_output_is_read_no_more_ends_in_a_sentence():
    with started(CHECK) as check:
        check.stdout.close()
        assert check.stderr.read() == UNREAD

    assert check.returncode == 141


def test_a_command_of_which_nothing_is_read_ends_without_a_word():
    check = started(CHECK)
    check.stdout.close()
    check.stderr.close()

    assert check.wait(60) == 141


WAITS = """
import time
import pipeline.cli
import pipeline.collect.check_command

def survey(*_):
    print("at work", flush=True)
    time.sleep(60)

pipeline.collect.check_command.survey = survey
pipeline.cli.main()
"""


@pytest.mark.parametrize("limit_bytes", [None, 4 * 10**9])
def test_a_command_that_is_interrupted_ends_in_a_sentence(limit_bytes):
    # In a group of its own, all of which a terminal interrupts.
    check = started([sys.executable, "-c", f"import os; os.setpgid(0, 0)\n{WAITS}", "check", "x"], limit_bytes)
    assert check.stdout.readline() == "at work\n"

    os.killpg(check.pid, signal.SIGINT)
    _, err = check.communicate(timeout=30)

    assert (check.returncode, err) == (130, "Stopped.\n")


# So little that Python's packages can't be loaded, that threads can't start, that a library ends the process.
@pytest.mark.bench  # those that end for being stuck take 20 s each
@pytest.mark.parametrize("limit_mb", [60, 100, 200, 500, 700, 1000])
def test_a_command_short_of_memory_ends_in_a_sentence(limit_mb):
    _, err = (check := started(CHECK, limit_mb * 1_000_000)).communicate(timeout=120)

    assert err.splitlines()[-1] == f"In this command: {MEMORY_RAN_OUT}"
    assert "Traceback" not in err
    assert check.returncode == 2


STUCK = """
import threading, pipeline.ending
pipeline.ending._STUCK_S, pipeline.ending._LOOK_EVERY_S = 1.0, 0.2

def waits():
    # As a library's thread does that waits for events.
    import ctypes, select
    def events():
        ctypes.CDLL(None).prctl(15, b"library", 0, 0, 0)  # PR_SET_NAME
        select.epoll().poll()
    threading.Thread(target=events, daemon=True).start()
    lock = threading.Lock()
    lock.acquire()
    lock.acquire()  # as a library does one of whose threads died for lack of memory

def reads():
    import os, time
    time.sleep(2)
    return os.read(0, 1) == b"."

raise SystemExit(pipeline.ending.outliving({work}, "in this command"))
"""


@pytest.mark.skipif(sys.platform != "linux", reason="Linux alone says what a thread waits for")
def test_a_command_whose_threads_wait_for_one_another_for_good_ends_in_a_sentence():
    stuck = started([sys.executable, "-c", STUCK.format(work="waits")], 4 * 10**9)

    _, err = stuck.communicate(timeout=60)

    assert (stuck.returncode, err) == (2, f"In this command: {MEMORY_RAN_OUT}\n")


def test_a_command_that_waits_for_its_user_goes_on():
    waiting = subprocess.Popen(
        [
            sys.executable,
            "-c",
            f"import resource; resource.setrlimit(resource.RLIMIT_AS, (4 * 10**9,) * 2){STUCK.format(work='reads')}",
        ],
        stdin=subprocess.PIPE,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    with pytest.raises(subprocess.TimeoutExpired):
        waiting.wait(6)
    waiting.communicate(b".", timeout=60)

    assert waiting.returncode == 1


STEP = """
import os, sys, types
import pipeline.run_step

def run():
    print("began")
    {work}

sys.modules["probe"] = types.SimpleNamespace(run=run)
pipeline.run_step.module_of = lambda step: step
sys.exit(pipeline.run_step.main(["probe", "{{}}"]))
"""


@pytest.mark.parametrize("work", ["x = bytearray(10**10)", "os.abort()", "os._exit(1)"])
def test_a_step_short_of_memory_says_so_in_its_log_too(tmp_path, work):
    log = tmp_path / "probe.log"
    step = started([sys.executable, "-c", STEP.format(work=work)], 2 * 10**9, YARDBAND_LOG=str(log))

    _, err = step.communicate(timeout=60)

    assert (step.returncode, err) == (2, f"In the step probe: {MEMORY_RAN_OUT}\n")
    assert log.read_text(encoding="utf-8") == f"began\n{err}"


@pytest.mark.parametrize(
    ("work", "status"), [("pass", 0), ("raise pipeline.run_step.UserError('a: b.')", 2), ("1 / 0", 1)]
)
def test_under_a_limit_that_is_not_met_a_step_ends_as_without_one(tmp_path, work, status):
    ends = []
    for limit_bytes in (None, 4 * 10**9):
        log = tmp_path / "probe.log"
        step = started([sys.executable, "-c", STEP.format(work=work)], limit_bytes, YARDBAND_LOG=str(log))
        ends.append((*step.communicate(timeout=60), step.returncode, log.read_text(encoding="utf-8")))

    assert ends[0] == ends[1]
    assert ends[0][2] == status
    assert ends[0][0] == "began\n"


@pytest.mark.parametrize(
    "error",
    [
        MemoryError(),
        OSError(12, "Cannot allocate memory"),
        RuntimeError("can't start new thread"),
        ImportError("x.so: failed to map segment from shared object"),
    ],
)
def test_what_libraries_say_when_memory_runs_out_is_known(error):
    assert memory_trouble(error) == MEMORY_RAN_OUT
    wrapped = ValueError("x")
    wrapped.__cause__ = error
    assert memory_trouble(wrapped) == MEMORY_RAN_OUT


def test_other_errors_are_not_a_lack_of_memory():
    assert memory_trouble(ValueError("a memory of golf")) is None
    assert not speaks_of_memory("Fit the candidate models and choose one")


def test_a_librarys_panic_is_a_fault_of_ours_and_no_traceback(capsys):
    class Panic(BaseException):
        pass

    with told("in a test") as outcome:
        raise Panic("rows")

    assert outcome == Outcome(1)
    assert capsys.readouterr().err.startswith("Yardband met a fault of its own in a test (Panic); ")


@pytest.mark.parametrize(("limited", "said"), [(True, MEMORY_RAN_OUT), (False, None)])
def test_a_library_that_python_could_not_load_is_short_of_memory_where_that_is_limited(monkeypatch, limited, said):
    monkeypatch.setattr("pipeline.ending.memory_is_limited", lambda: limited)
    assert memory_trouble(SystemError("initialization of _x raised unreported exception")) == said
