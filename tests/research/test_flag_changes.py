import polars as pl
import pytest
from frontiers import frontier_at, one_error, plain_model

from pipeline.drives import Drives
from pipeline.golfers.flags import FlagRules
from pipeline.research.flag_changes import FlagChanges, flag_changes, flag_lines, flagged_by

OLD = {"a": (15.0, "flagged"), "b": (14.0, "flagged"), "c": (3.0, "clear"), "d": (9.0, "clear"), "e": (30.0, "flagged")}
NEW = {
    "a": (15.5, "flagged"),
    "b": (11.0, "clear"),
    "c": (4.0, "clear"),
    "d": (12.0, "flagged"),
    "e": (None, "not_assessed"),
}


def table(figures):
    rows = [
        {"golfer": g, "quarter": "2026Q3", "lost_yd": lost, "status": status} for g, (lost, status) in figures.items()
    ]
    return pl.DataFrame(rows)


def test_flags_are_counted_by_who_gives_them():
    found = flag_changes(table(OLD), table(NEW))
    assert (found.quarter, found.assessed) == ("2026Q3", 4)
    # e is flagged by the old model alone: the new one can't assess this golfer.
    assert (found.both, found.old_alone, found.new_alone) == (1, 2, 1)
    assert found.mean_yd == pytest.approx((0.5 - 3.0 + 1.0 + 3.0) / 4)
    assert abs(found.largest_yd) == 3.0


def test_order_does_not_matter_and_nobody_is_no_fault():
    assert flag_changes(table(OLD).reverse(), table(NEW)) == flag_changes(table(OLD), table(NEW))
    gone = dict.fromkeys(OLD, (None, "not_assessed"))
    assert flag_changes(table(OLD), table(gone)).mean_yd is None
    assert flag_changes(table(OLD).clear(), table(NEW).clear()) == FlagChanges("", 0, 0, 0, 0, None, None)


def test_the_text_leads_with_the_number_of_flags():
    text = flag_lines(FlagChanges("2026Q3", 40, 7, 2, 1, -0.24, -1.96))[1]
    assert text == (
        "3 flags differ among the 40 golfers of 2026Q3 whom both models assess: 7 are flagged by both, 2 by the old "
        "model alone, 1 by the new one alone. On average, yards lost by the new model less those by the old one are "
        "-0.2 yd; the largest difference is -2.0 yd."
    )
    assert flag_lines(FlagChanges("2026Q3", 40, 7, 1, 0, 0.0, 0.0))[1].startswith("1 flag differs among")
    moved = flag_lines(FlagChanges("2026Q3", 40, 7, 0, 0, 0.0, 0.0), "reference device")[1]
    assert moved.startswith("No flag differs among")
    assert moved.endswith(
        "The change of reference device hardly counts here: it moves efficient carry and golfers' carry alike."
    )
    assert "No golfer of 2026Q3 is assessed" in flag_lines(FlagChanges("2026Q3", 0, 0, 0, 0, None, None))[1]


def test_the_newest_quarter_is_assessed_by_a_models_own_frontier(world):
    day = pl.date(2026, 7, 1) + pl.duration(days=pl.int_range(pl.len()) % 30 // 15)
    drives = world.drives.with_columns(day.alias("struck_on"), pl.col("carry_standard_yd").alias("carry_measured_yd"))
    earlier = drives.with_columns(pl.lit("2026Q2").alias("quarter"))
    both = Drives.of(pl.concat([earlier, drives]))
    model, rules = plain_model(), FlagRules(10.0, 0.1, 12, 3.5)
    far, near = (one_error(frontier_at(range(66, 118), 3.0 * s)) for s in (90.0, 10.0))
    found = flagged_by(both, model, far, rules)
    assert found.columns == ["golfer", "quarter", "lost_yd", "status"]
    assert found.get_column("quarter").unique().to_list() == ["2026Q3"]
    assert found.height == 80
    # Against 270 yd at every speed all lose a lot; against 30 yd nobody does.
    slow = found.filter(pl.col("lost_yd") > 40)
    assert slow.height > 60
    assert set(slow.get_column("status")) == {"flagged"}
    assert set(flagged_by(both, model, near, rules).get_column("status")) == {"clear"}
