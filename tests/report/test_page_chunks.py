"""The page is made some golfers at a time: the same however many, in memory that hardly grows with golfers."""

import json
import tracemalloc

import polars as pl
import pytest
from academy_pages import study_inputs
from golfer_cases import golfers_study
from page_cases import CASES, FRONTIER, SETTINGS, drives_of, tables_of
from whole_pages import page_of, payload_of

from pipeline.report.page import ground as of_ground
from pipeline.report.page import page as of_page
from pipeline.report.page.by_golfer import ByGolfer
from pipeline.report.page.page import build_page, json_pieces
from pipeline.report.page.payload import payload_of as in_pieces
from pipeline.tables.golfers import Golfers
from pipeline.tables.table_set import TableSet

AT_ONCE = (1, 3, 10_000)
WHOLE = {"pictures": {}, "card": []}  # parts that the step adds


@pytest.mark.parametrize("name", CASES)
def test_a_study_is_told_alike_however_many_golfers_are_laid_out_at_once(name, monkeypatch):
    rows, others = CASES[name]
    tables, drives = tables_of(rows, **others), drives_of(rows)
    made = set()
    for count in AT_ONCE:
        monkeypatch.setattr(of_ground, "GOLFERS_AT_ONCE", count)
        told = payload_of(tables=tables, frontier=FRONTIER, drives=drives, settings=SETTINGS)
        made.add(json.dumps(told))
    assert len(made) == 1


@pytest.mark.parametrize("units", ["yards", "metres"])
def test_a_study_with_everything_has_the_same_page_in_one_chunk_and_in_many(units, monkeypatch):
    pages = set()
    for count in AT_ONCE:
        monkeypatch.setattr(of_ground, "GOLFERS_AT_ONCE", count)
        monkeypatch.setattr(of_page, "WRITTEN_EACH", count)
        pages.add(page_of(golfers_study(units) | WHOLE))
    assert len(pages) == 1


def copied(table, count):
    """Give a table's golfers so often, each time under other names."""
    return pl.concat(table.with_columns(pl.format("{}c{}", "golfer", pl.lit(k))) for k in range(count))


def many(count):
    """Give what `payload_of` takes of 60 golfers, so often."""
    given = study_inputs()
    frames = given["tables"].frames
    tables = {schema: copied(table, count) if "golfer" in table.columns else table for schema, table in frames.items()}
    return given | {"tables": TableSet(tables), "drives": copied(given["drives"], count)}


def peak_bytes(given):
    """Give the most that Python's objects took while a page was made and let go of, piece by piece."""
    tracemalloc.start()
    try:
        length = sum(len(piece) for piece in build_page(in_pieces(**given) | WHOLE))
        return tracemalloc.get_traced_memory()[1], length
    finally:
        tracemalloc.stop()


def test_memory_hardly_grows_with_golfers(monkeypatch):
    monkeypatch.setattr(of_ground, "GOLFERS_AT_ONCE", 60)
    monkeypatch.setattr(of_page, "WRITTEN_EACH", 60)
    few, more = many(4), many(16)
    peak_bytes(few)  # what is imported and read once
    (least, short), (most, long) = peak_bytes(few), peak_bytes(more)
    each, written = (most - least) / 720, (long - short) / 720
    print(f"{each:.0f} bytes a golfer, of whom the page holds {written:.0f}")
    assert written > 1500
    assert each < 0.2 * written


def test_rows_are_found_by_golfer_whatever_their_order():
    table = pl.DataFrame({"golfer": list("bacbxab"), "n": range(7)})
    found = ByGolfer(table, pl.Series(["a", "none", "b", "c"]))
    assert found.rows(0, 1)["n"].to_list() == [1, 5]
    assert found.rows(1, 2).is_empty()
    assert found.rows(1, 4)["n"].to_list() == [0, 3, 6, 2]
    assert found.rows(0, 4, ["n"]).columns == ["n"]
    assert found.counts(0, 4) == [2, 0, 3, 1]


def test_rows_are_found_where_golfers_have_a_type_that_lacks_some():
    kind = pl.Enum(["b", "a"])
    table = pl.DataFrame({"golfer": pl.Series(["b", "a", "b"], dtype=kind), "n": range(3)})
    found = ByGolfer(table, pl.Series(["a", "b", "c"]))
    assert (found.counts(0, 3), found.rows(0, 3)["n"].to_list()) == ([1, 2, 0], [1, 0, 2])


@pytest.mark.parametrize("count", [0, 1, 2, 3, 7])
def test_lists_that_are_made_as_they_are_written_give_the_same_json(count, monkeypatch):
    monkeypatch.setattr(of_page, "WRITTEN_EACH", 3)
    rows = [[k, None, "</script> & 'é'", {"a": 0.5}] for k in range(count)]
    plain = {"columns": ["k"], "rows": rows, "end": True}
    told = "".join(json_pieces(plain))
    assert "".join(json_pieces(plain | {"rows": iter(rows)})) == told
    assert "".join(json_pieces(iter(rows))) == "".join(json_pieces(rows))
    assert json.loads(told) == plain
    assert "</script>" not in told


def test_golfers_stand_by_their_first_quarters_and_then_as_in_the_table():
    given = many(20)
    table = given["tables"][Golfers]
    table = table.sample(fraction=1.0, shuffle=True, seed=4)
    told = payload_of(**given | {"tables": TableSet(given["tables"].frames | {Golfers: table})})
    quarters = [table.filter(pl.col("quarter").cast(pl.String) == quarter) for quarter in told["study"]["quarters"]]
    right = pl.concat(quarters).get_column("golfer").cast(pl.String).unique(maintain_order=True).to_list()
    assert [row[0] for row in told["golfers"]["rows"]] == right
