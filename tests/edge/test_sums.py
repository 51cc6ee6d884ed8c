"""Sums of files: the same as hashlib's, taken again for what somebody touched, and only for that."""

import hashlib
import json
import os

import pytest

from pipeline.edge import sums
from pipeline.edge.sums import FileSums


@pytest.fixture
def log(tmp_path):
    path = tmp_path / "bay.csv"
    path.write_bytes(b"golfer,carry_yd\nA,200\n")
    return path


@pytest.fixture
def kept(tmp_path, log):
    """Sums kept by a first run."""
    first = FileSums(tmp_path / "sums.json")
    first.of(log)
    first.keep()
    return tmp_path / "sums.json"


def test_a_sum_is_that_of_the_bytes(tmp_path, log):
    assert FileSums(tmp_path / "none.json").of(log) == hashlib.sha256(log.read_bytes()).hexdigest()


def test_an_untouched_file_is_not_read_again(kept, log, monkeypatch):
    before = FileSums(kept).of(log)
    monkeypatch.setattr(sums, "digest_of", lambda _: pytest.fail("read again"))
    assert FileSums(kept).of(log) == before


def test_other_bytes_with_size_and_time_as_before_are_seen(kept, log):
    before, state = FileSums(kept).of(log), log.stat()
    log.write_bytes(b"golfer,carry_yd\nA,201\n")
    os.utime(log, ns=(state.st_atime_ns, state.st_mtime_ns))
    assert log.stat().st_size == state.st_size
    assert FileSums(kept).of(log) not in ("", before)


@pytest.mark.parametrize("text", ["", "[1", "[]", '{"x": 3}', "\x00"])
def test_kept_sums_that_are_damaged_count_as_none(tmp_path, log, text):
    broken = tmp_path / "sums.json"
    broken.write_text(text, encoding="utf-8")
    assert FileSums(broken).of(log) == hashlib.sha256(log.read_bytes()).hexdigest()


def test_what_is_no_file_has_no_sum(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    assert FileSums(tmp_path / "none.json").all_of([tmp_path, tmp_path / "pipe", tmp_path / "gone"]) == [""] * 3


def test_only_what_was_asked_for_is_kept(kept, tmp_path):
    other = tmp_path / "fell.csv"
    other.write_bytes(b"x")
    later = FileSums(kept)
    later.of(other)
    later.keep()
    assert list(json.loads(kept.read_text(encoding="utf-8"))) == [str(other)]
