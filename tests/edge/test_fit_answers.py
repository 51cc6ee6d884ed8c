import mmap

import numpy as np
import polars as pl
import pytest

from pipeline.edge.answers import Answers, read_pooled, spooled, write_answers, write_pooled
from pipeline.errors import UserError


def test_answers_of_several_files_are_read_in_order_and_again(tmp_path):
    assert write_answers(tmp_path / "1", iter([{"a": 1}, None])) == 2
    assert write_answers(tmp_path / "2", iter([])) == 0
    assert write_answers(tmp_path / "3", (np.full(3, k) for k in range(2))) == 2
    answers = Answers([tmp_path / "1", tmp_path / "2", tmp_path / "3"])
    first, again = list(answers), list(answers)
    assert first[:2] == again[:2] == [{"a": 1}, None]
    np.testing.assert_array_equal(first[2:], [[0, 0, 0], [1, 1, 1]])
    # Two readings at a time don't disturb each other.
    assert [len(part) for _ in zip(answers, answers, strict=True) for part in [_]] == [2] * 4


def test_answers_that_fail_leave_no_file(tmp_path):
    def failing():
        yield 1
        raise UserError("no more")

    with pytest.raises(UserError, match="no more"):
        write_answers(tmp_path / "1", failing())
    assert list(tmp_path.iterdir()) == []


def test_few_answers_stay_in_memory_and_more_go_to_a_file_that_is_deleted():
    assert spooled(iter([1, 2])) == [1, 2]
    many = spooled(iter(range(5)))
    assert isinstance(many, Answers)
    assert list(many) == list(many) == [0, 1, 2, 3, 4]
    folder = many.paths[0].parent
    assert folder.exists()
    del many
    assert not folder.exists()


def test_what_was_pooled_comes_back_and_its_arrays_are_not_read_whole(tmp_path):
    value = {
        "odd": np.arange(5, dtype=np.int8),
        "many": np.arange(6.0).reshape(2, 3),
        "table": pl.DataFrame({"a": [1]}),
    }
    write_pooled(tmp_path / "pooled", value)
    found = read_pooled(tmp_path / "pooled")
    assert found["table"].equals(value["table"])
    for name in ("odd", "many"):
        np.testing.assert_array_equal(found[name], value[name])
        assert found[name].dtype == value[name].dtype
        below = found[name]
        while isinstance(below, np.ndarray):
            below = below.base
        assert isinstance(below.obj, mmap.mmap)
        assert found[name].flags.aligned
    with pytest.raises(ValueError, match="read-only"):
        found["odd"][0] = 1
