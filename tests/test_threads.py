"""Pieces worked on in two processes: in order, and errors as in one."""

import os
import time

import pytest

from pipeline.threads import SecondProcess, allowed, apart, second_process


@pytest.fixture
def two(monkeypatch):
    monkeypatch.setenv("YARDBAND_THREADS", "2")


def process_and_square(number):
    return os.getpid(), number**2


def dying_elsewhere(home):
    """Give a process's number, in that process alone."""
    if os.getpid() != home:
        os._exit(3)
    return home


@pytest.mark.usefixtures("two")
def test_the_second_half_is_done_in_another_process_and_comes_in_order():
    found = apart(process_and_square, range(5))
    assert [square for _, square in found] == [0, 1, 4, 9, 16]
    here = [process == os.getpid() for process, _ in found]
    assert here == [True, True, True, False, False]


@pytest.mark.parametrize(("threads", "pieces"), [("1", 5), ("2", 1), ("2", 0)])
def test_one_thread_or_one_piece_stays_here(monkeypatch, threads, pieces):
    monkeypatch.setenv("YARDBAND_THREADS", threads)
    assert {process for process, _ in apart(process_and_square, range(pieces))} <= {os.getpid()}


@pytest.mark.usefixtures("two")
def test_an_error_there_is_raised_here_and_nothing_is_printed(capfd):
    with pytest.raises(ValueError, match="sixteen"):
        apart(int, ["1", "4", "9", "sixteen"])
    assert capfd.readouterr() == ("", "")


@pytest.mark.usefixtures("two")
def test_what_a_process_left_undone_is_done_here():
    assert apart(dying_elsewhere, [os.getpid()] * 4) == [os.getpid()] * 4


def test_a_second_process_makes_one_thing_after_the_other():
    with SecondProcess() as other:
        found = []
        for number in (2, 3):
            other.begin(process_and_square, number)
            found.append(other.made())
    processes, squares = zip(*found, strict=True)
    assert squares == (4, 9)
    assert len(set(processes)) == 1
    assert os.getpid() not in processes


def threads_of(_):
    return allowed()


@pytest.mark.usefixtures("two")
def test_all_that_is_done_apart_shares_the_process_that_is_open_which_has_one_thread():
    with second_process() as other:
        other.begin(process_and_square, 1)
        process, _ = other.made()
        assert [apart(process_and_square, range(2))[1] for _ in range(2)] == [(process, 1)] * 2
        assert apart(threads_of, range(2)) == [2, 1]
    assert apart(process_and_square, range(2))[1][0] not in (process, os.getpid())


def test_what_a_second_process_has_ended_over_is_made_here_from_then_on():
    with SecondProcess() as other:
        for _ in range(3):
            other.begin(dying_elsewhere, os.getpid())
            assert other.made() == os.getpid()


def failing_beside(seconds):
    with SecondProcess() as other:
        other.begin(time.sleep, seconds)
        raise ValueError("here")


def test_an_error_here_ends_what_is_made_there():
    begun = time.monotonic()
    with pytest.raises(ValueError, match="here"):
        failing_beside(60)
    assert time.monotonic() - begun < 30
