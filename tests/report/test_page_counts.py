"""Counts of golfers by their state in two quarters add up, whatever the golfers did."""

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from page_cases import code, played
from rows import table_of

from pipeline.report.page.counts import COMPARED, STATES, counts_of, states_of
from pipeline.tables.golfers import Golfers

QUARTERS = ("2025Q4", "2026Q1", "2026Q3")
# What a golfer did in a quarter: absent, flagged, clear or not assessed.
DID = ("", "flagged", "clear", "not_assessed")
academies = st.lists(st.tuples(*[st.sampled_from(DID)] * len(QUARTERS)), min_size=1, max_size=25)


def golfers_who(academy, quarters=QUARTERS):
    rows = [
        {"golfer": f"g{k:016x}", "quarter": quarter, "status": did, "flagged": did == "flagged"}
        for k, history in enumerate(academy)
        for quarter, did in zip(quarters, history, strict=True)
        if did
    ]
    kinds = {"golfer": pl.String, "quarter": pl.String, "status": pl.String, "flagged": pl.Boolean}
    return pl.DataFrame(rows, schema=kinds)


def state_by_hand(now, then):
    if not now:
        return "not_seen" if then else None
    if now == "not_assessed":
        return "not_assessed"
    if then in ("", "not_assessed"):
        return "first_seen"
    return {("flagged", "clear"): "new", ("flagged", "flagged"): "still", ("clear", "flagged"): "no_longer"}.get(
        (now, then), "clear"
    )


@given(academies)
def test_states_are_those_by_hand(academy):
    golfers = golfers_who(academy)
    played_in = [quarter for quarter in QUARTERS if quarter in set(golfers["quarter"])]
    found = {(golfer, quarter): state for golfer, quarter, state in states_of(golfers)[:, [0, 1, 3]].iter_rows()}
    expected = {}
    for k, history in enumerate(academy):
        did = dict(zip(QUARTERS, history, strict=True))
        for place, quarter in enumerate(played_in):
            state = state_by_hand(did[quarter], did[played_in[place - 1]] if place else "")
            if state:
                expected[f"g{k:016x}", quarter] = state
    assert found == expected


@given(academies)
def test_counts_add_up_in_every_quarter(academy):
    golfers = golfers_who(academy)
    states = states_of(golfers)
    before = ""
    for quarter in sorted(set(golfers["quarter"])):
        counts, here = counts_of(states, quarter), golfers.filter(pl.col("quarter") == quarter)
        then = golfers.filter(pl.col("quarter") == before)
        now_flagged, then_flagged = counts["flagged_now"], counts["flagged_before"]
        assert counts["now"] == here.height
        assert counts["before"] == then.height
        assert counts["now"] == sum(counts[state] for state in (*COMPARED, "first_seen", "not_assessed"))
        assert counts["before"] == counts["now"] - counts["only_now"] + counts["not_seen"]
        assert now_flagged["total"] == here["flagged"].sum()
        assert now_flagged["total"] == counts["still"] + counts["new"] + now_flagged["first_seen"]
        assert then_flagged["total"] == then["flagged"].sum()
        assert then_flagged["total"] == (
            counts["still"] + counts["no_longer"] + then_flagged["not_assessed"] + then_flagged["not_seen"]
        )
        before = quarter


def test_each_state_by_an_example():
    golfers = golfers_who(
        [("", "clear", "flagged"), ("", "flagged", "flagged"), ("", "flagged", "clear"), ("", "clear", "clear"),
         ("flagged", "", "flagged"), ("", "not_assessed", "clear"), ("", "flagged", "not_assessed"),
         ("", "", "not_assessed"), ("", "flagged", ""), ("flagged", "", "")]
    )  # fmt: skip
    counts = counts_of(states_of(golfers), "2026Q3")
    assert {state: counts[state] for state in STATES} == {
        "new": 1, "still": 1, "no_longer": 1, "clear": 1, "first_seen": 2, "not_assessed": 2, "not_seen": 1,
    }  # fmt: skip
    assert (counts["now"], counts["before"], counts["only_now"]) == (8, 7, 2)
    assert counts["flagged_now"] == {"total": 3, "still": 1, "new": 1, "first_seen": 1}
    assert counts["flagged_before"] == {"total": 4, "still": 1, "no_longer": 1, "not_assessed": 1, "not_seen": 1}


def test_the_first_quarter_has_nobody_before():
    counts = counts_of(states_of(golfers_who([("flagged", "", ""), ("clear", "", "")])), "2025Q4")
    assert (counts["now"], counts["before"], counts["first_seen"], counts["not_seen"]) == (2, 0, 2, 0)
    assert counts["flagged_now"] == {"total": 1, "still": 0, "new": 0, "first_seen": 1}


@pytest.mark.parametrize("kind", ["text", "enum"])
def test_states_take_the_table_as_it_is(kind):
    table = table_of(Golfers, [played("1", "2026Q2", flagged=True), played("1", flagged=True), played("2")])
    if kind == "enum":
        table = table.cast({"golfer": pl.Enum([code("2"), code("1")])})
    assert states_of(table).filter(pl.col("quarter") == "2026Q3")["state"].to_list() == ["still", "first_seen"]
