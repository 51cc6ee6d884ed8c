import pytest

from pipeline.texts.better import better_golfers, with_better


@pytest.mark.parametrize(
    ("strike", "named"),
    [
        (0.75, "better quarter"),
        (0.5, "better half"),
        (0.9, "best tenth"),
        (0.8, "best 20 in 100"),
        (0.95, "best 5 in 100"),
        (0.666, "best 33.4 in 100"),
    ],
)
def test_golfers_are_named_by_how_many_they_are(strike, named):
    assert better_golfers(strike) == named
    assert with_better("what the better quarter reach", strike, 0.75) == f"what the {named} reach"
