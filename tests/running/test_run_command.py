"""`follow` on a stand-in for Snakemake: real processes and signals; tests/workflow/test_run.py has Snakemake itself."""

import io
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from recorded import BEGUN, ENDED, FAILED, GOES_ON, KILLED, NOTHING, REFUSED, SENTENCE

from pipeline.running import run_command
from pipeline.running.run_command import follow, own_cores, seconds_of

SAYS = "import sys; sys.stderr.write({text!r}); sys.stderr.flush(); print('a line of a step'); sys.exit({status})"


class Terminal(io.StringIO):
    def isatty(self):
        return True


def said_by(text, status=0, err=None, log=Path("run.log")):
    command = [sys.executable, "-c", SAYS.format(text=text, status=status)]
    return follow(command, log, {}, io.StringIO() if err is None else err)


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_every_line_is_kept_in_a_log_that_its_owner_alone_can_read(here):
    (here / "logs").mkdir()
    (here / "logs/run.log").write_text("an older run", encoding="utf-8")

    ended = said_by(BEGUN + GOES_ON + ENDED, log=here / "logs/run.log")

    kept = (here / "logs/run.log").read_text(encoding="utf-8").splitlines()
    assert sorted(kept) == sorted([*(BEGUN + GOES_ON + ENDED).splitlines(), "a line of a step"])
    assert (here / "logs/run.log").stat().st_mode & 0o777 == 0o600
    assert (ended.status, list(ended.lines)) == (0, ["5 steps done in 0 s."])


def test_where_lines_stay_few_are_told_and_on_a_terminal_one_is_rewritten(monkeypatch):
    monkeypatch.setenv("TERM", "xterm")
    plain, terminal = io.StringIO(), Terminal()

    said_by(BEGUN + GOES_ON + ENDED, err=plain)
    said_by(BEGUN + GOES_ON + ENDED, err=terminal)

    told = plain.getvalue().splitlines()
    assert told[0] == "0 % done, time left not known yet: Reading the study"
    assert 3 <= len(told) <= 6
    assert "\r" not in plain.getvalue()
    assert "\n" not in terminal.getvalue()
    assert terminal.getvalue().startswith("\r0 % done")
    last = terminal.getvalue().split("\r")
    assert [part.strip() for part in last[-2:]] == ["", ""]  # nothing of it is left


def test_a_failure_ends_with_the_steps_sentence_and_its_log(here):
    log = here / "logs/twin-valleys/fit_model.log"
    log.parent.mkdir(parents=True)
    log.write_text(f"Read 0 drives.\n{SENTENCE}\n", encoding="utf-8")

    ended = said_by(BEGUN + GOES_ON + FAILED, status=1)

    assert ended.status == 2
    assert list(ended.lines) == [SENTENCE, "See logs/twin-valleys/fit_model.log."]


def test_a_killed_step_ends_with_a_sentence_on_memory():
    ended = said_by(BEGUN + GOES_ON + KILLED, status=1)

    assert ended.status == 2
    assert "memory ran out" in ended.lines[0]


def test_a_study_that_cannot_be_run_and_nothing_to_be_done_have_their_sentences():
    refused, nothing = said_by(REFUSED, status=1), said_by(NOTHING)

    assert (refused.status, len(refused.lines)) == (2, 1)
    assert refused.lines[0].endswith("wait until it has ended, then start again.")
    assert list(nothing.lines) == ["Nothing has changed since the last run, so nothing was done again."]


# Stands for Snakemake with a step at work: both end at an interrupt, or not before they are killed.
STUCK = """
import signal, subprocess, sys, time
if {deaf}:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
step = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"])
print(f"Job 1: Wait as {{step.pid}}", file=sys.stderr, flush=True)
time.sleep(600)
"""
FOLLOWING = """
import sys
from pathlib import Path
from pipeline.running import run_command
run_command.PATIENCE_S = {patience}
ended = run_command.follow([sys.executable, "-c", {stuck!r}], Path("run.log"), {{}}, sys.stderr)
print(*ended.lines)
sys.exit(ended.status)
"""


def is_running(process_id):
    try:
        return Path(f"/proc/{process_id}/stat").read_text(encoding="utf-8").split(")")[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="processes are looked up as Linux has them")
@pytest.mark.parametrize("deaf", [False, True])
@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)])
def test_an_interrupt_ends_every_step_and_ends_in_a_sentence(here, number, status, deaf):
    command = [sys.executable, "-c", FOLLOWING.format(stuck=STUCK.format(deaf=deaf), patience=1 if deaf else 600)]
    following = subprocess.Popen(
        # Where the tests run under nohup, the signal of a closed terminal would be ignored.
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        preexec_fn=lambda: signal.signal(signal.SIGHUP, signal.SIG_DFL),
    )  # fmt: skip
    until = time.monotonic() + 30
    while "Wait as" not in (text := (here / "run.log").read_text("utf-8") if (here / "run.log").exists() else ""):
        assert time.monotonic() < until
        time.sleep(0.05)
    step = int(text.split("Wait as ")[1].split()[0])
    assert is_running(step)

    following.send_signal(number)
    out, err = following.communicate(timeout=30)

    assert following.returncode == status
    assert out == "Stopped. Run the same line again: it goes on where it stopped.\n"
    assert "Traceback" not in err
    until = time.monotonic() + 10
    while is_running(step) and time.monotonic() < until:
        time.sleep(0.05)
    assert not is_running(step)


def test_times_of_the_last_run_are_read_and_damaged_ones_are_left_out(here):
    logs = here / "logs"
    (logs / "collect_logs/small").mkdir(parents=True)
    head = "s\th:m:s\tmax_rss\n"
    (logs / "collect_logs/small/1-of-2.tsv").write_text(f"{head}1.0\t0:00:01\t9\n", encoding="utf-8")
    (logs / "collect_logs/small/2-of-2.tsv").write_text(f"{head}3.0\t0:00:03\t9\n", encoding="utf-8")
    (logs / "fit_model.tsv").write_text(f"{head}4.5\t0:00:04\t9\n", encoding="utf-8")
    (logs / "empty.tsv").write_text("", encoding="utf-8")
    (logs / "torn.tsv").write_text(f"{head}abc\n", encoding="utf-8")

    assert seconds_of(logs) == {"collect_logs": 2.0, "fit_model": 4.5}
    assert seconds_of(here / "nowhere") == {}


def test_all_cores_that_it_may_use_are_counted():
    assert 1 <= own_cores() <= (os.cpu_count() or 1)


def test_windows_a_missing_clone_and_a_missing_snakemake_have_a_sentence(monkeypatch):
    check = run_command._check_machine
    monkeypatch.setattr(run_command.importlib.util, "find_spec", {}.get)
    with pytest.raises(run_command.UserError, match=r"Snakemake isn't installed with this Python"):
        check()
    monkeypatch.setattr(run_command, "SNAKEFILE", Path("nowhere/Snakefile"))
    with pytest.raises(run_command.UserError, match=r"nowhere/Snakefile: isn't there\. Run this from a clone"):
        check()
    monkeypatch.setattr(run_command, "SYSTEM", "nt")
    with pytest.raises(run_command.UserError, match=r"Subsystem for Linux"):
        check()
