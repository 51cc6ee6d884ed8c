import pytest
from rows import table_of

from pipeline.report.page.movement import count_movement, show_changes
from pipeline.tables.golfers import Changes, Golfers


def change(name, movement, lost, **other):
    row = {
        "golfer": f"g{name * 16}", "shots": 30, "shots_before": 20, "club_speed_change_mph": 0.44,
        "carry_change_yd": -lost, "lost_change_yd": lost, "lost_change_lo90_yd": lost - 3.0,
        "lost_change_hi90_yd": lost + 3.0, "movement": movement, "chance_change_yd": -0.46,
        "p_value": 0.5, "q_value": 0.5, "more_than_chance": False,
    }  # fmt: skip
    return row | other


def uncompared(name, movement, **other):
    known = ("golfer", "shots", "shots_before", "movement")
    row = dict.fromkeys(change(name, movement, 0.0)) | {k: change(name, movement, 0.0)[k] for k in known}
    tests = dict.fromkeys(("p_value", "q_value", "more_than_chance"))
    shared = dict.fromkeys(("lost_change_std_error_yd", "lost_change_shared_error_yd"))
    return row | tests | shared | {"shots": None if movement == "not_seen" else 5} | other


def change_table(*rows):
    return table_of(Changes, rows)


def golfer(name, quarter, flagged=False, assessed=True):
    status = "flagged" if flagged else "clear" if assessed else "not_assessed"
    p = 0.01 if assessed else None
    return {
        "golfer": f"g{name * 16}", "quarter": quarter, "p_value": p, "q_value": p, "flagged": flagged, "status": status,
    }  # fmt: skip


def test_changes_stand_new_then_no_longer_then_still_largest_gain_first():
    table = change_table(
        change("a", "still", -4.0), change("b", "still", -9.0), change("c", "no_longer", -20.0),
        change("d", "new", 12.0), change("e", "clear", 1.0), change("f", "clear", -8.0, more_than_chance=True),
        change("1", "new", 30.0, quarter="2026Q2", since="2026Q1"),
    )  # fmt: skip

    shown = show_changes(table, "2026Q3").table

    assert shown.select("Golfer", "Flag").rows() == [
        ("g" + "d" * 16, "new"), ("g" + "c" * 16, "no longer"), ("g" + "b" * 16, "still"),
        ("g" + "a" * 16, "still"), ("g" + "f" * 16, "not flagged"),
    ]  # fmt: skip


def test_a_change_is_rounded_and_says_whether_it_is_more_than_chance():
    sure = change("c", "no_longer", -20.26, more_than_chance=True, lost_change_lo90_yd=None)

    shown = show_changes(change_table(sure), "2026Q3").table

    assert shown.row(0)[2:] == ("2026Q2", "20", "30", "0.4", "20", "-20", "–", "0", "yes")  # noqa: RUF001


def test_movements_are_counted_with_those_that_are_more_than_chance():
    table = change_table(
        change("a", "still", -4.0), change("b", "still", -9.0, more_than_chance=True),
        change("c", "no_longer", -20.0, more_than_chance=True), change("e", "clear", 1.0),
        change("d", "new", 9.0, quarter="2026Q2", since="2026Q1"),
        uncompared("1", "not_assessed"), uncompared("2", "not_seen"), uncompared("3", "not_seen"),
    )  # fmt: skip

    counts = count_movement(table, table_of(Golfers, []), "2026Q3")

    assert counts["compared"] == 4
    assert (counts["not_assessed"], counts["not_seen"]) == (1, 2)
    assert show_changes(table, "2026Q3").table.height == 3  # neither those who can't be compared nor the clear one
    assert [counts[name] for name in ("new", "no_longer", "still", "clear")] == [0, 1, 2, 1]
    assert [counts[f"{name}_sure"] for name in ("new", "no_longer", "still", "clear")] == [0, 1, 1, 0]


@pytest.mark.parametrize(
    ("rows", "first", "unseen"),
    [
        ([golfer("d", "2026Q3", flagged=True)], 1, 0),
        ([golfer("a", "2026Q3", flagged=True)], 0, 0),
        ([golfer("d", "2026Q1", flagged=True)], 0, 1),
        ([golfer("d", "2026Q1", flagged=True), golfer("d", "2026Q2")], 0, 0),
        ([golfer("d", "2026Q2", flagged=True), golfer("d", "2026Q3", assessed=False)], 0, 1),
        ([golfer("d", "2026Q2", flagged=True), golfer("d", "2026Q3")], 0, 0),
    ],
)
def test_who_cannot_be_compared_is_counted_apart(rows, first, unseen):
    counts = count_movement(change_table(change("a", "still", -4.0)), table_of(Golfers, rows), "2026Q3")

    assert (counts["first"], counts["unseen"]) == (first, unseen)
