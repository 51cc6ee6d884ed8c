"""Drafts of logs of many shapes: right nearly always, and never sure and wrong."""

from collections import Counter

import pytest

from drafting.foreign_logs import foreign_log
from drafting.judged_drafts import judge

TUNED = range(200)  # the drafting was mended until these were right
HELD_OUT = range(10_000, 10_200)  # looked at once, when all was done


def judged(seeds, folder):
    """Judge the drafts of the logs of some seeds; print what isn't right."""
    counts: Counter[str] = Counter()
    for seed in seeds:
        log = foreign_log(seed)
        verdict, why = judge(log, folder)
        counts[verdict] += 1
        counts["with something nobody could tell"] += bool(log.untellable)
        if verdict != "right":
            print(f"{verdict}: {why}\n    {log.story}")
    print(dict(counts))
    return counts


@pytest.mark.bench
def test_200_logs_are_drafted_right_and_none_silently_wrong(tmp_path):
    counts = judged(TUNED, tmp_path)
    assert counts["wrong"] == 0
    assert counts["right"] >= 190
    assert counts["with something nobody could tell"] >= 20  # else nothing tests that it asks


@pytest.mark.long
def test_logs_that_nothing_was_mended_for(tmp_path):
    counts = judged(HELD_OUT, tmp_path)
    assert counts["wrong"] == 0
    assert counts["right"] >= 190
