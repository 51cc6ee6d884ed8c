"""With the fewest golfers that a study of results by hand needs, intervals cover and flags are right."""

from prove_hand import prove

from pipeline.by_hand.reference import LEAST_GOLFERS


def test_the_fewest_golfers_are_enough():
    row = prove("usual", (LEAST_GOLFERS,), 6).row(0, named=True)
    assert row["assessed_share"] > 0.6
    assert 0.85 <= row["covered"] <= 0.99
    assert row["wrong_flags"] <= 0.1 * row["flags"]
    assert row["flags"] >= 3
