import pytest
from recorded import SUMMARY

from pipeline.ending import BAD_INPUT, OWN_FAULT
from pipeline.running.run_words import Made, failure_lines, progress_line, refused_lines, result_lines, took
from pipeline.running.snakemake_lines import FailedStep, RunSoFar

MADE = Made("results/a/summary.txt", "results/a/report/academy.html", ["my study"])


@pytest.mark.parametrize(
    ("share", "left", "line"),
    [
        (0.0, None, "0 % done, time left not known yet: Reading the study"),
        (0.256, 43.0, "25 % done, about 45 s left: Fly the grids"),
        (0.9, 150.0, "90 % done, about 2 min left: Fly the grids"),
        (1.0, 0.0, "99 % done, about 1 s left: Fly the grids"),  # it isn't done until it says so
    ],
)
def test_the_line_of_progress_has_share_time_left_and_step(share, left, line):
    assert progress_line("" if left is None else "Fly the grids", share, left) == line


def test_three_lines_tell_who_is_flagged_what_got_better_and_where_to_look():
    flagged, better, where = result_lines(SUMMARY, MADE)

    assert flagged.startswith("2026Q3: 78 of 82 golfers assessed, 43 flagged")
    assert better.startswith("Progress: 77 golfers")
    assert where == (
        "Open results/a/report/academy.html, or type: yardband open 'my study'. "
        "The whole summary is in results/a/summary.txt."
    )


def test_without_progress_goals_are_told():
    first_quarter = "".join(line for line in SUMMARY.splitlines(keepends=True) if not line.startswith("Progress"))

    assert result_lines(first_quarter, MADE)[1].startswith("Goals: 78 of 78")


def test_refused_logs_are_told_too():
    assert refused_lines(SUMMARY) == ["refused: logs/bay_2026q1.csv: it has no column struck_at"]


def test_the_time_taken_is_told_in_minutes_from_one_on():
    assert took(30, 75.4) == "30 steps done in 1 min 15 s."
    assert took(2, 59.4) == "2 steps done in 59 s."


def failed(status=2, signal="", log="logs/a/fit_model.log"):
    return RunSoFar(failed=[FailedStep("fit_model", log, status, signal)])


def test_a_failed_steps_own_sentence_and_its_log_are_told():
    status, lines = failure_lines(failed(), [["It is empty; add rows."]], "logs/a/run.log", 1)

    assert (status, lines) == (BAD_INPUT, ["It is empty; add rows.", "See logs/a/fit_model.log."])


@pytest.mark.parametrize("how", [{"signal": "SIGKILL"}, {"status": 137}])
def test_a_killed_step_most_likely_lacked_memory(how):
    status, lines = failure_lines(failed(**how), [[]], "logs/a/run.log", 1)

    assert status == BAD_INPUT
    assert lines[0].startswith("The step fit_model was ended from outside (SIGKILL); most likely memory ran out. ")


def test_a_crash_and_a_silent_end_are_faults_of_ours():
    assert failure_lines(failed(1, "SIGSEGV"), [[]], "r", 1)[0] == OWN_FAULT
    status, lines = failure_lines(failed(1, log=""), [[]], "logs/a/run.log", 1)
    assert status == OWN_FAULT
    assert lines[1] == "See logs/a/run.log."


def test_a_crash_after_which_memory_is_spoken_of_lacked_memory():
    run = failed(1, "SIGABRT")
    run.memory_ran_out = True

    status, lines = failure_lines(run, [[]], "r", 1)

    assert status == BAD_INPUT
    assert lines[0].startswith("In the step fit_model: memory ran out. ")


def test_a_run_that_never_came_to_a_step_says_why_or_where_to_look():
    refused = RunSoFar(refusal=["a: b."])
    assert failure_lines(refused, [], "logs/a/run.log", 1) == (BAD_INPUT, ["a: b."])
    assert failure_lines(RunSoFar(memory_ran_out=True), [], "r", 1)[0] == BAD_INPUT
    status, lines = failure_lines(RunSoFar(), [], "logs/a/run.log", 1)
    assert status == OWN_FAULT
    assert lines == ["The run ended before its end, and no step says why (status 1).", "See logs/a/run.log."]
