"""A study that becomes one of results by hand, or a full one, doesn't answer from what it was."""

import pytest

from pipeline.benchmark.lookup_command import find_results
from pipeline.edge.kinds_of_results import BY_HAND, OF_FULL, remove_other_kind
from pipeline.errors import UserError
from pipeline.research.library.study import open_study


@pytest.fixture
def both(tmp_path):
    """Results of a study that was of one kind and of the other, before the next run begins."""
    for name in (BY_HAND, *OF_FULL, "golfers/golfers.csv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("{}", encoding="utf-8")
    return tmp_path


def files(folder):
    return {path.relative_to(folder) for path in folder.rglob("*") if path.is_file()}


def test_a_run_by_hand_leaves_nothing_that_a_full_study_answers_from(both):
    before = files(both)
    remove_other_kind(both, by_hand=True)
    assert before - files(both) == set(OF_FULL)
    for answer in (find_results, open_study):
        with pytest.raises(UserError, match="its logs have no launch and no spin, so there is no model"):
            answer(both)


def test_a_full_run_leaves_no_mark_of_results_by_hand(both):
    before = files(both)
    remove_other_kind(both, by_hand=False)
    assert before - files(both) == {BY_HAND}
    assert find_results(both) == both


def test_there_may_be_nothing_to_remove(tmp_path):
    remove_other_kind(tmp_path / "none", by_hand=True)
    assert not (tmp_path / "none").exists()
