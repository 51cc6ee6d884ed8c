import pytest
from recorded import BEGUN, ENDED, FAILED, GOES_ON, KILLED, NOTHING, REFUSED

from pipeline.running.snakemake_lines import RunSoFar, left_s, rule_of, share_done


def heard(*texts):
    run = RunSoFar()
    for line in "".join(texts).splitlines():
        run.take(line)
    return run


def test_a_run_is_followed_from_its_table_to_its_end():
    begun, goes_on, ended = heard(BEGUN), heard(BEGUN, GOES_ON), heard(BEGUN, GOES_ON, ENDED)

    assert begun.planned == {"collect_logs": 2, "fit_model": 1, "write_report": 1}
    assert (begun.total, begun.done, begun.step) == (5, 0, "Collect a large log")
    assert (goes_on.done, goes_on.step) == (2, "Fit the candidate models and choose one")
    assert (ended.done, ended.total, ended.failed, ended.refusal) == (5, 5, [], [])
    assert ended.step == "Write the academy's page"  # the last one, while none is at work


def test_the_step_at_work_is_told_when_a_newer_one_has_ended():
    run = heard(BEGUN, "Finished jobid: 2 (Rule: collect_logs)\n")

    assert run.step == "Collect 6 small logs"


def test_the_share_done_goes_by_the_time_that_steps_took_and_by_their_number_without_any():
    run = heard(BEGUN, GOES_ON)

    assert share_done(run, {}) == pytest.approx(2 / 4)
    # 2 x 1 s of collecting are done; 2 x 1 + 6 + 2 are to be done in all
    assert share_done(run, {"collect_logs": 1.0, "fit_model": 6.0, "write_report": 2.0}) == pytest.approx(2 / 10)
    # a rule without a time counts as the mean of the others: 2 x 1 of 2 x 1 + 3 + 2
    assert share_done(run, {"collect_logs": 1.0, "fit_model": 3.0}) == pytest.approx(2 / 7)
    assert share_done(heard(BEGUN), {}) == 0.0
    assert share_done(RunSoFar(), {}) == 0.0
    assert share_done(heard(BEGUN, GOES_ON, ENDED), {"fit_model": 9.0}) <= 1.0


def test_steps_that_a_checkpoint_adds_count_as_not_done():
    run = heard(BEGUN, GOES_ON.replace("of 5", "of 9"))

    assert share_done(run, {}) == pytest.approx(2 / 8)


def test_the_time_left_is_told_once_it_can_be():
    assert left_s(0.04, 10.0) is None
    assert left_s(0.25, 10.0) == pytest.approx(30.0)
    assert left_s(1.0, 10.0) == 0.0


def test_a_failed_step_is_known_with_its_log_and_status():
    (failed,) = heard(BEGUN, GOES_ON, FAILED).failed

    assert (failed.rule, failed.log) == ("fit_model", "logs/twin-valleys/fit_model.log")
    assert (failed.status, failed.signal) == (2, "")


def test_a_killed_step_is_known_by_its_signal():
    (failed,) = heard(BEGUN, GOES_ON, KILLED).failed

    assert (failed.status, failed.signal) == (1, "SIGKILL")


def test_of_two_failed_steps_each_has_its_own_status():
    second = KILLED.replace("fit_model", "write_report")

    first, other = heard(BEGUN, FAILED, second).failed

    assert (first.rule, first.status, first.signal) == ("fit_model", 2, "")
    assert (other.rule, other.log, other.signal) == ("write_report", "logs/twin-valleys/write_report.log", "SIGKILL")


def test_why_a_study_cannot_be_run_is_the_text_between_the_frames():
    many = REFUSED.replace("then start again.\n", "then start again.\nlogs/b.csv: is empty.\n")

    assert heard(REFUSED).refusal == [
        "results/twin-valleys: another run is at work on this study; wait until it has ended, then start again."
    ]
    assert heard(many).refusal[1:] == ["logs/b.csv: is empty."]


def test_nothing_to_be_done_and_a_lack_of_memory_are_noticed():
    assert heard(NOTHING).nothing_to_do
    assert not heard(BEGUN).nothing_to_do
    assert heard("memory allocation of 81920 bytes failed\n").memory_ran_out
    assert not heard(BEGUN, FAILED).memory_ran_out


@pytest.mark.parametrize(
    ("name", "rule"), [("fit_model.tsv", "fit_model"), ("collect_logs/small/1-of-1.tsv", "collect_logs")]
)
def test_a_file_of_times_is_its_rules(name, rule):
    assert rule_of(name) == rule
