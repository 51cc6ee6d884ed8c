import json

import duckdb
import polars as pl
import pytest
from collect_samples import HEADER, ROW, Collected, changed, csv_text, key_file, written

from pipeline.collect import clean_log, collect_logs, lots, read
from pipeline.collect.clean_log import Cleaning
from pipeline.collect.partitions import describe
from pipeline.configuration.layouts import STANDARD_LAYOUT, LogFile
from pipeline.configuration.study import LogEntry
from pipeline.errors import UserError


@pytest.fixture
def together(tmp_path):
    """Collect logs in one partition; `receipt` of the outcome is the list of them."""

    def run(*logs, out="together"):
        described = [LogFile(source=log.name, entry=LogEntry(files="*"), layout=STANDARD_LAYOUT) for log in logs]
        paths = {name: tmp_path / out / f"{name}.out" for name in ("shots", "rejects", "receipts", "names")}
        collect_logs.run(
            key=str(key_file(tmp_path)),
            study="hill-school",
            folder=str(tmp_path),
            partition=describe(described),
            **{name: str(path) for name, path in paths.items()},
        )
        receipts = json.loads(paths["receipts"].read_text(encoding="utf-8"))
        tables = [pl.read_parquet(paths[name]) for name in ("shots", "rejects")]
        return Collected(*tables, receipts, paths)

    return run


def many(count, **cells):
    """Give the texts of drives that are judged by their flight."""
    return csv_text(*(changed(struck_at=f"2026-08-03T10:00:{second:02d}", **cells) for second in range(count)))


def test_logs_together_are_what_they_are_alone(tmp_path, collect, together):
    logs = [
        written(tmp_path / "a.csv", many(30)),
        written(tmp_path / "b.csv.gz", csv_text(changed(carry_yd="x"), ROW)),
        written(tmp_path / "c.csv", many(40, golfer="Bo", carry_yd="206", ball_speed_mph="")),
        written(tmp_path / "d.csv", many(25, golfer="Cy", club_speed_mph="80", ball_speed_mph="115", carry_yd="105")),
    ]

    found = together(*reversed(logs))

    alone = [collect(log) for log in logs]
    assert found.shots.equals(pl.concat([one.shots for one in alone]))
    assert found.rejects.equals(pl.concat([one.rejects for one in alone]))
    assert [one["source"] for one in found.receipt] == [log.name for log in logs]
    # To the last digit of flight: what is kept of a log was flown beside others.
    assert found.receipt == [one.receipt for one in alone]
    assert [bool(one["notes"]) for one in found.receipt] == [False, False, False, True]
    assert [one["carry_over_flight"] is None for one in found.receipt] == [False, True, True, False]


@pytest.mark.parametrize("rows", [1, 4, 7, 1000])
def test_logs_are_the_same_in_lots_of_any_size(tmp_path, together, monkeypatch, rows):
    """Of two layouts' headers, with pieces of a log in several lots, refused logs between them and withheld texts."""
    monkeypatch.setattr(read, "BATCH_ROWS", 3)
    device, turned = f"{HEADER},device", ",".join(reversed(HEADER.split(",")))
    logs = [
        written(tmp_path / "a.csv", csv_text(f"{ROW},unit of Ann", f"{changed(golfer='Bo')},oak", header=device)),
        written(tmp_path / "b.csv", csv_text(*[ROW] * 5, turned)),
        written(tmp_path / "c.csv", csv_text(changed(carry_yd="x"), ROW, changed(golfer=""), ROW, ROW)),
        written(tmp_path / "d.csv", csv_text(f"{changed(golfer='Bo Elm')},unit-A", f"{ROW},elm", header=device)),
        written(tmp_path / "e.csv", csv_text()),
        written(tmp_path / "f.csv", csv_text(changed(spin_rpm="99999"), *[changed(golfer="Cy")] * 7)),
    ]
    usual = together(*logs)
    monkeypatch.setattr(lots, "LOT_ROWS", rows)

    found = together(*logs, out="lots")

    for name, path in usual.paths.items():
        assert found.paths[name].read_bytes() == path.read_bytes(), name
    assert found.shots["device"].drop_nulls().to_list() == ["withheld", "withheld", "unit-A", "withheld"]
    assert [one["withheld"] for one in found.receipt if one["withheld"]] == [{"device": 2}, {"device": 1}]
    assert [one["rows"] for one in found.receipt] == [2, 0, 5, 2, 0, 8]
    assert found.rejects.rows() == [
        ("c.csv", 1, "not_a_number", "carry_yd"),
        ("c.csv", 3, "missing", "golfer"),
        ("f.csv", 1, "too_high", "spin_rpm"),
    ]


def test_logs_of_one_kind_are_cleaned_in_as_few_calls_as_memory_allows(tmp_path, together, monkeypatch):
    heights = []
    inner = clean_log.standardise
    monkeypatch.setattr(
        clean_log, "standardise", lambda raw, *rest, **named: heights.append(raw.height) or inner(raw, *rest, **named)
    )

    together(*(written(tmp_path / f"{number:02}.csv", csv_text(ROW, ROW)) for number in range(30)))
    assert heights == [60]

    heights.clear()
    monkeypatch.setattr(lots, "LOT_ROWS", 25)
    together(*sorted(tmp_path.glob("*.csv")), out="again")
    assert heights == [24, 24, 12]


def test_a_small_log_is_parsed_for_its_header_and_once_for_its_rows(tmp_path, together, monkeypatch):
    scans = []
    inner = read._scan_csv
    monkeypatch.setattr(
        read, "_scan_csv", lambda path, *rest, **named: scans.append(path) or inner(path, *rest, **named)
    )

    found = together(*(written(tmp_path / f"{name}.csv", csv_text(ROW, ROW)) for name in "ab"))

    assert found.shots.height == 4
    assert sorted(path.name for path in scans) == ["a.csv", "a.csv", "b.csv", "b.csv"]


def test_a_refused_log_leaves_its_neighbours_as_they_are(tmp_path, together, monkeypatch):
    monkeypatch.setattr(read, "BATCH_ROWS", 5)
    good = [written(tmp_path / name, csv_text(ROW)) for name in ("a.csv", "c.csv")]
    # Drives were read before the second header shows.
    bad = written(tmp_path / "b.csv", csv_text(*[ROW] * 20, ",".join(reversed(HEADER.split(",")))))

    found = together(good[0], bad, good[1])

    assert found.shots["source"].to_list() == ["a.csv", "c.csv"]
    assert [(one["status"], one["rows"]) for one in found.receipt] == [("used", 1), ("refused", 0), ("used", 1)]
    assert together(bad, written(tmp_path / "d.csv", ""), out="none").shots.height == 0


def test_a_log_that_changes_stops_the_partition_and_nothing_is_written(tmp_path, together, monkeypatch):
    logs = [written(tmp_path / name, csv_text(ROW)) for name in ("a.csv", "b.csv")]
    inner = Cleaning.pieces

    def meanwhile(log):
        yield from inner(log)
        if log.log_file.source == "b.csv":
            logs[1].write_text("gone")

    monkeypatch.setattr(Cleaning, "pieces", meanwhile)

    with pytest.raises(UserError, match=r"b\.csv: it changed while it was read"):
        together(*logs)
    assert not (tmp_path / "together").exists()


def test_large_and_small_logs_are_loaded_by_source_and_row(tmp_path, collect, together, load):
    texts = {name: csv_text(*(changed(golfer=name, spin_rpm=str(2000 + 100 * n)) for n in range(3))) for name in "abcd"}
    logs = {name: written(tmp_path / f"{name}.csv", text) for name, text in texts.items()}
    doubled = written(tmp_path / "e.csv", texts["c"])

    folder = load(together(logs["c"], doubled, logs["a"]), collect(logs["d"]), collect(logs["b"]))

    with duckdb.connect(str(folder / "loaded.duckdb"), read_only=True) as connection:
        found = connection.sql("SELECT source, row FROM shots").fetchall()
    assert found == [(f"{name}.csv", row) for name in "abcd" for row in (1, 2, 3)]
    sources = pl.read_csv(folder / "sources.csv")
    assert sources.select("source", "accepted", "duplicates").rows() == [
        *((f"{name}.csv", 3, 0) for name in "abcd"), ("e.csv", 0, 3),
    ]  # fmt: skip


def test_a_name_of_another_log_is_withheld_in_the_same_partition(tmp_path, together, capsys):
    header = f"{HEADER},device"
    one = written(tmp_path / "a.csv", csv_text(f"{ROW},unit of Bo", f"{ROW},unit-A", header=header))
    two = written(tmp_path / "b.csv", csv_text(f"{changed(golfer='Bo Elm')},OAK's", header=header))

    found = together(one, two)

    assert found.shots["device"].to_list() == ["withheld", "unit-A", "withheld"]
    assert [receipt["withheld"] for receipt in found.receipt] == [{"device": 1}, {"device": 1}]
    assert "cells withheld, as they hold a golfer's name: 1 in device" in capsys.readouterr().out


def test_a_name_of_another_partitions_log_is_withheld_in_the_database(tmp_path, collect, load, capsys):
    header = f"{HEADER},site,device"
    one = collect(
        written(tmp_path / "a.csv", csv_text(f"{ROW},elm,bay of Elm", f"{ROW},,unit-A", header=header)), site="elm"
    )
    two = collect(written(tmp_path / "b.csv", csv_text(f"{changed(golfer='Bo Elm')},elm,x", header=header)), site="elm")

    folder = load(one, two)

    with duckdb.connect(str(folder / "loaded.duckdb"), read_only=True) as database:
        rows = database.execute("SELECT site, device FROM shots").fetchall()
    # The study's own word for the site stays; of two drives that are alike one is left out.
    assert rows == [("elm", "withheld"), ("elm", "x")]
    assert "Texts withheld, as they hold a name of another log's golfer: 1 in device." in capsys.readouterr().out
    sealed = one.paths["names"].read_text(encoding="utf-8").lower() + two.paths["names"].read_text(encoding="utf-8")
    assert not [name for name in ("ann", "oak", "bo elm") if name in sealed]


def test_golfers_whose_names_look_alike_are_told_and_kept_apart(tmp_path, collect, load, capsys):
    one = collect(written(tmp_path / "a.csv", csv_text(ROW, changed(golfer="Bo Elm"))))
    two = collect(written(tmp_path / "b.csv", csv_text(changed(golfer='"Oak, Ann"', carry_yd="210"))))
    again = collect(written(tmp_path / "c.csv", csv_text(changed(golfer="ANN  Oak", carry_yd="215"))))

    sources = pl.read_csv(load(one, two, again) / "sources.csv")

    golfers = [log.shots.item(0, "golfer") for log in (one, two, again)]
    assert golfers[0] == golfers[2] != golfers[1]
    assert sources["reason"].to_list() == [
        None,
        f"golfer {golfers[1]}'s name looks like that of {golfers[0]} (a.csv) but for the order of its words, accents "
        "or marks: both are kept apart; if they are one person, spell the name one way",
        None,
    ]
    assert f"b.csv: look again, golfer {golfers[1]}'s name looks like" in capsys.readouterr().out
