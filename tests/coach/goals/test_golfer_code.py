import pytest

from pipeline.coach.goals.golfer_code import matched
from pipeline.errors import UserError

GOLFERS = ["g0a1b2c3d4", "g0a1b2ffff", "g1", "g1aaaaaaaa", *(f"g2{n:08x}" for n in range(9))]


@pytest.mark.parametrize(
    ("typed", "golfer"),
    [("g0a1b2c", "g0a1b2c3d4"), ("g0a1b2f", "g0a1b2ffff"), ("g1a", "g1aaaaaaaa"), ("g1", "g1"), ("G1A+", "g1aaaaaaaa")],
)
def test_a_beginning_that_one_golfer_has_is_enough_and_a_whole_code_wins(typed, golfer):
    assert matched(typed, GOLFERS) == golfer


def test_several_are_named_as_far_as_they_differ_but_five_at_most():
    with pytest.raises(UserError) as few:
        matched("g0a", GOLFERS)
    # Ten characters tell all of them apart.
    assert str(few.value) == "That beginning fits 2 golfers: g0a1b2c3d4, g0a1b2ffff; give more of the code."
    with pytest.raises(UserError) as many:
        matched("g2", GOLFERS)
    told = str(many.value)
    assert told.startswith("That beginning fits 9 golfers, such as g200000000, g200000001,")
    assert told.count("g2") == 5
    with pytest.raises(UserError, match="g0a1b2, g1cccc;"):
        matched("g", ["g0a1b2c3d4", "g1cccccccc"])


@pytest.mark.parametrize("typed", ["", "*", "x", "0a1b", "g0a1b2c3d4e"])
def test_what_no_golfer_begins_with_is_refused(typed):
    with pytest.raises(UserError, match="No golfer here has that code"):
        matched(typed, GOLFERS)
