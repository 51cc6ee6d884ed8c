from dataclasses import replace

import pytest

from pipeline.research.rebuild.record import Present, RunRecord, changes_since, problems_of

RECORD = RunRecord(
    folder="hill",
    config={},
    configuration={"study": "hill-school"},
    layouts=[{"logs": 1, "layout": {"delimiter": ","}}],
    inputs={"candidates/mine.py": "c" * 64},
    key="0123456789abcdef",
    sources=[{"source": "logs/a.csv", "sha256": "a" * 64}, {"source": "logs/refused.csv", "sha256": None}],
    speed_sources=[{"source": "speed/s.csv", "sha256": "b" * 64}],
    code="commit 1",
    versions={"python": "3.11.9", "polars": "2.1.0"},
    kept=["k000000000001", "k000000000002"],
    model={"id": "k000000000002"},
    calibration={},
    made={},
)
NOW = Present(
    digests=RECORD.digests,
    more=(),
    layouts=RECORD.layouts,
    key=RECORD.key,
    code=RECORD.code,
    versions=RECORD.versions,
    kept=RECORD.kept,
)


def test_every_file_with_a_digest_is_checked():
    assert set(RECORD.digests) == {"logs/a.csv", "speed/s.csv", "candidates/mine.py"}


def test_nothing_stands_in_the_way_where_all_is_as_it_was():
    assert problems_of(RECORD, NOW) == []
    assert changes_since(RECORD, NOW) == []


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"digests": RECORD.digests | {"logs/a.csv": None}}, "logs/a.csv: isn't there any more."),
        ({"digests": RECORD.digests | {"speed/s.csv": "f" * 64}}, "speed/s.csv: has other content than in the run."),
        ({"digests": RECORD.digests | {"candidates/mine.py": "f" * 64}}, "candidates/mine.py: has other content"),
        ({"key": None}, "The key is missing."),
        ({"key": "f" * 16}, "The key is another than in the run, so pseudonyms can't be the same."),
        ({"layouts": [{"logs": 1, "layout": {"delimiter": ";"}}]}, "The layouts of the logs have changed."),
        ({"kept": ["k000000000002"]}, "The kept model k000000000001 is gone from the results, and the run read it."),
    ],
)
def test_each_thing_that_is_not_as_it_was_is_named(change, told):
    [line] = problems_of(RECORD, replace(NOW, **change))

    assert line.startswith(told)


def test_the_runs_own_model_may_be_gone():
    assert problems_of(RECORD, replace(NOW, kept=["k000000000001"])) == []


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"code": "commit 2"}, "The code is another: it was commit 1, is commit 2."),
        (
            {"versions": {"python": "3.11.9", "polars": "2.2.0", "numpy": "2.4.0"}},
            "Packages of the run have other versions now: numpy none (now 2.4.0), polars 2.1.0 (now 2.2.0).",
        ),
        ({"more": ("logs/b.csv",)}, "New logs are left out: logs/b.csv."),
    ],
)
def test_what_may_move_figures_is_told(change, told):
    assert changes_since(RECORD, replace(NOW, **change)) == [told]
