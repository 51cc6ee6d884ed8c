"""drives.parquet and shots.duckdb, written from loaded.duckdb."""

import re
from pathlib import Path

import duckdb
import polars as pl
import pytest
from rows import table_of

from pipeline.edge import database
from pipeline.edge.database import (
    devices_of_sources,
    golfer_summaries,
    new_database,
    read_distinct,
    shots_in_pieces,
    write_drives,
    write_shots,
)
from pipeline.errors import UserError
from pipeline.tables.columns import column_comments
from pipeline.tables.devices import Devices
from pipeline.tables.figures import BandTable, HeldOut
from pipeline.tables.logs import DriveTable, LoadedShots, Rejects, Sources, StandardShots, StudiedDrives
from pipeline.tables.straightness import Straightness, StraightnessBands
from pipeline.tables.table_set import TableSet

# By source and row, as loading leaves them; three golfers in two logs, the second of a device that it doesn't name.
SOURCES = ["a.csv", "a.csv", "a.csv", "b.csv", "b.csv"]
ROWS = [1, 2, 5, 1, 2]
GOLFERS = ["gb", "ga", "gb", "gc", "ga"]
DEVICES = ["unit-A", "unit-A", "unit-B", None, None]
CARRIES = [200.0, 210.0, 220.0, 230.0, 240.0]
FLOWN = [205.0, 215.0, 225.0, 235.0, 245.0]
CURVES = [1.5, None, 0.0, None, 2.5]
MOVES = [1.0, -2.0, 3.0, -4.0, 5.0]
ADDED = pl.DataFrame(
    {"device": ["unit-A", "unit-B", None], "ball": [None, None, None], "added_share": [0.0, 0.115, -0.02]},
    schema_overrides={"ball": pl.String},
)
TOLD = TableSet(
    {
        Sources: table_of(Sources, [{"source": "b.csv", "device_note": "like unit-A"}, {"source": "a.csv"}]),
        Devices: table_of(Devices, [{"device": "unit-B"}, {"device": "unit-B", "reading": "launch"}]),
    }
)


def filled(schema, given):
    """Give a table of a schema's columns, null where nothing is given."""
    types = schema.create_empty().schema
    return pl.DataFrame({name: given.get(name) for name in types}, schema=types)


@pytest.fixture
def loaded(tmp_path):
    shots = {
        "source": SOURCES, "row": ROWS, "golfer": GOLFERS, "device": DEVICES, "carry_measured_yd": CARRIES,
        "club_speed_mph": [95.0] * 5, "ball_speed_mph": [140.0] * 3 + [None] * 2,
    }  # fmt: skip
    tables = {
        "shots": filled(LoadedShots, shots),
        "rejects": filled(Rejects, {"source": ["b.csv", "a.csv"], "row": [3, 9]}),
        "sources": filled(Sources, {"source": ["b.csv", "a.csv"], "rows": [3, 9]}),
    }
    path = tmp_path / "loaded.duckdb"
    with new_database(path) as connection:
        for name, table in tables.items():
            connection.register("made", table.to_arrow())
            connection.execute(f"CREATE TABLE {name} AS FROM made")
    return path


@pytest.fixture
def drives(loaded, tmp_path):
    write_drives(loaded, changes(), tmp_path / "drives.parquet")
    return tmp_path / "drives.parquet"


def changes(rows=ROWS):
    yield pl.DataFrame({"row": rows[:3], "carry_change_yd": MOVES[:3], "flown_yd": FLOWN[:3], "curve_yd": CURVES[:3]})
    yield pl.DataFrame({"row": rows[3:], "carry_change_yd": MOVES[3:], "flown_yd": FLOWN[3:], "curve_yd": CURVES[3:]})


def table(database, query):
    with duckdb.connect(str(database), read_only=True) as connection:
        return connection.sql(query).fetchall()


def test_drives_stand_by_golfer_with_their_standard_carry(loaded, tmp_path):
    count = write_drives(loaded, changes(), tmp_path / "drives.parquet")

    drives = pl.read_parquet(tmp_path / "drives.parquet")
    assert count == 5
    assert drives.schema == DriveTable.create_empty().schema
    # By the digests of "95.0|200.0", "95.0|210.0" and "95.0|230.0".
    names = ("golfer", "source", "row", "carry_standard_yd", "carry_measured_yd", "flown_yd", "curve_yd")
    assert drives.select(names).rows() == [
        ("gb", "a.csv", 1, 201.0, 200.0, 205.0, 1.5),
        ("gb", "a.csv", 5, 223.0, 220.0, 225.0, 0.0),
        ("ga", "a.csv", 2, 208.0, 210.0, 215.0, None),
        ("ga", "b.csv", 2, 245.0, 240.0, 245.0, 2.5),
        ("gc", "b.csv", 1, 226.0, 230.0, 235.0, None),
    ]


def test_drives_are_put_in_order_in_less_memory_than_they_take(tmp_path, monkeypatch):
    monkeypatch.setattr(database, "MEMORY", "64MB")
    count = 300_000  # of some 200 bytes each
    golfer = pl.Series([f"g{number % 3000:04}" for number in range(count)])
    row = pl.Series(range(1, count + 1))
    speed = 90.0 + golfer.str.slice(1).cast(pl.Int64) / 100
    shots = {"source": ["a.csv"] * count, "row": row, "golfer": golfer, "club_speed_mph": speed}
    with new_database(tmp_path / "loaded.duckdb") as connection:
        connection.register("made", filled(LoadedShots, shots).to_arrow())
        connection.execute("CREATE TABLE shots AS FROM made")
    moved = pl.DataFrame({"row": row, "carry_change_yd": 0.0, "flown_yd": 200.0, "curve_yd": 0.0})

    assert write_drives(tmp_path / "loaded.duckdb", [moved], tmp_path / "drives.parquet") == count

    drives = pl.read_parquet(tmp_path / "drives.parquet", columns=["golfer", "row"])
    assert len(drives.get_column("golfer").rle()) == 3000
    assert sorted(drives.get_column("row")) == row.to_list()


@pytest.mark.parametrize("rows", [[1, 2, 5, 1], [1, 2, 5, 2, 1], [1, 2, 5, 1, 2, 3]])
def test_changes_of_other_drives_are_not_taken(loaded, tmp_path, rows):
    given = pl.DataFrame({"row": rows, "carry_change_yd": [0.0] * len(rows), "flown_yd": 200.0, "curve_yd": 0.0})

    with pytest.raises(duckdb.Error, match="changes of other drives"):
        write_drives(loaded, [given], tmp_path / "drives.parquet")
    assert not (tmp_path / "drives.parquet").exists()


def test_each_drive_has_its_carry_in_every_sense_and_the_rest_is_as_loaded(loaded, drives, tmp_path):
    write_shots(loaded, drives, ADDED, TOLD, tmp_path / "shots.duckdb")

    names = "carry_measured_yd, carry_change_yd, carry_standard_yd, carry_reference_yd, curve_yd"
    assert table(tmp_path / "shots.duckdb", f"SELECT source, row, {names} FROM shots") == [
        ("a.csv", 1, 200.0, 1.0, 201.0, 201.0, 1.5),
        ("a.csv", 2, 210.0, -2.0, 208.0, 208.0, None),
        ("a.csv", 5, 220.0, 3.0, 223.0, 200.0, 0.0),
        ("b.csv", 1, 230.0, -4.0, 226.0, 226.0 / 0.98, None),
        ("b.csv", 2, 240.0, 5.0, 245.0, 250.0, 2.5),
    ]
    columns = [name for (name, *_) in table(tmp_path / "shots.duckdb", "DESCRIBE shots")]
    assert columns == list(StandardShots.columns())
    own = ", ".join(f'"{name}"' for name in LoadedShots.columns())
    assert table(tmp_path / "shots.duckdb", f"SELECT {own} FROM shots") == table(loaded, f"SELECT {own} FROM shots")
    assert table(tmp_path / "shots.duckdb", "FROM rejects") == sorted(table(loaded, "FROM rejects"))
    for name, schema in (("sources", Sources), ("devices", Devices)):
        assert table(tmp_path / "shots.duckdb", f"FROM {name}") == sorted(TOLD[schema].rows())
    assert table(tmp_path / "shots.duckdb", "SELECT table_name FROM duckdb_tables() ORDER BY ALL") == [
        ("devices",), ("rejects",), ("shots",), ("sources",),
    ]  # fmt: skip


def test_the_database_says_what_its_tables_and_columns_are(loaded, drives, tmp_path):
    write_shots(loaded, drives, ADDED, TOLD, tmp_path / "shots.duckdb")

    comments = table(tmp_path / "shots.duckdb", "SELECT table_name, column_name, comment FROM duckdb_columns()")
    told = {(name, column): comment for name, column, comment in comments}
    tables = {"shots": StandardShots, "rejects": Rejects, "sources": Sources, "devices": Devices}
    for name, schema in tables.items():
        for column, comment in column_comments(schema).items():
            assert told.get((name, column)) == comment
    assert told["shots", "carry_measured_yd"] == "Carry, measured, yd: Carry as measured."
    about = dict(table(tmp_path / "shots.duckdb", "SELECT table_name, comment FROM duckdb_tables()"))
    assert about["sources"] == "Log files and what became of their rows."


def test_the_view_of_drives_has_readings_put_right_and_carry_in_every_sense(loaded, drives, tmp_path):
    write_shots(loaded, drives, ADDED, TOLD, tmp_path / "shots.duckdb", RIGHT)

    with duckdb.connect(str(tmp_path / "shots.duckdb"), read_only=True) as connection:
        view, shots = (connection.sql(f"FROM {name} ORDER BY source, row").pl() for name in ("drives", "shots"))
        told = connection.sql("SELECT comment FROM duckdb_views() WHERE view_name = 'drives'").fetchall()
        comments = dict(
            connection.sql("SELECT column_name, comment FROM duckdb_columns() WHERE table_name = 'drives'").fetchall()
        )
    assert view.columns == StudiedDrives.column_names()
    right = {
        "club_speed_mph": [96.9, 96.9, 95.0, 92.0, 92.0],
        "speed_ratio": [140 / 96.9, 140 / 96.9, 140 / 95] + [None] * 2,
    }
    for name, expected in right.items():
        assert view.get_column(name).to_list() == pytest.approx(expected), name
    same = [name for name in view.columns if name not in right]
    assert view.select(same).equals(shots.select(same))
    assert told == [("Drives as the researcher takes them: readings as the fit has them, carry in each sense.",)]
    assert comments == column_comments(StudiedDrives)


def test_other_tables_of_the_results_stand_beside_the_drives(loaded, drives, tmp_path):
    held = table_of(HeldOut, [{"source": "b.csv", "row": 2, "predicted_yd": 201.5}, {"source": "a.csv", "row": 5}])
    held.write_parquet(tmp_path / "held_out.parquet")
    told = TableSet({BandTable: table_of(BandTable, [{"band_mph": 100.0}, {"band_mph": 90.0}])})

    write_shots(loaded, drives, ADDED, told, tmp_path / "shots.duckdb", held_out=tmp_path / "held_out.parquet")

    assert table(tmp_path / "shots.duckdb", "SELECT band_mph FROM bands") == [(90.0,), (100.0,)]
    joined = "SELECT source, row, golfer, predicted_yd FROM drives JOIN held_out USING (source, row) ORDER BY ALL"
    assert table(tmp_path / "shots.duckdb", joined.replace("golfer", "drives.golfer")) == [
        ("a.csv", 5, "gb", 1.0), ("b.csv", 2, "ga", 201.5),
    ]  # fmt: skip
    about = dict(table(tmp_path / "shots.duckdb", "SELECT table_name, comment FROM duckdb_tables()"))
    assert about["held_out"].startswith("Drives as the chosen model predicts them")
    assert set(about) == {"shots", "rejects", "bands", "held_out"}


def test_straightness_joins_the_drives_and_the_pages_query_finds_who_scatters_most(loaded, drives, tmp_path):
    counts = {"shots": 2, "known": 2, "calculated": 0, "quarter": "2026Q3"}
    assessed = counts | {"status": "assessed", "offline_mean_yd": 1.0, "in_corridor_share": 0.5}
    golfers = [assessed | {"golfer": name, "offline_sd_yd": sd} for name, sd in (("ga", 11.26), ("gb", 14.0))]
    earlier = assessed | {"golfer": "gb", "quarter": "2026Q2", "offline_sd_yd": 30.0}
    few = counts | {"status": "not_assessed", "golfer": "gc", "note": "few"}
    bands = table_of(StraightnessBands, [{"band_mph": 100.0}, {"band_mph": 90.0}])
    with duckdb.connect(str(loaded)) as connection:
        connection.execute("UPDATE shots SET quarter = '2026Q3'")
    told = TableSet({Straightness: table_of(Straightness, [*golfers, earlier, few]), StraightnessBands: bands})

    write_shots(loaded, drives, ADDED, told, tmp_path / "shots.duckdb")

    page = Path(__file__).parents[2] / "docs/research/queries.md"
    [query] = re.findall(r"^```sql\n(.*?)^```$", page.read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE)
    found = [(row[0], row[2], row[-1]) for row in table(tmp_path / "shots.duckdb", query)]
    assert found == [("gb", 14.0, 0.8), ("ga", 11.3, 2.5)]
    assert table(tmp_path / "shots.duckdb", "SELECT band_mph FROM straightness_bands") == [(90.0,), (100.0,)]


@pytest.mark.parametrize("change", ["row = row + 1", "source = 'c.csv'"])
def test_drives_of_another_study_are_not_stored(loaded, drives, tmp_path, change):
    with duckdb.connect(str(loaded)) as connection:
        connection.execute(f"UPDATE shots SET {change} WHERE source = 'b.csv'")

    with pytest.raises(duckdb.Error, match="drives of another study"):
        write_shots(loaded, drives, ADDED, TOLD, tmp_path / "shots.duckdb")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["drives.parquet", "loaded.duckdb"]


def test_more_or_fewer_drives_than_those_of_the_study_are_not_stored(loaded, drives, tmp_path):
    every = pl.read_parquet(drives)
    for other in (every.filter(pl.col("golfer") != "gc"), pl.concat([every, every.tail(1)])):
        other.write_parquet(drives)
        with pytest.raises(duckdb.Error, match="drives of another study"):
            write_shots(loaded, drives, ADDED, TOLD, tmp_path / "shots.duckdb")


def test_a_study_without_drives_has_its_tables(loaded, tmp_path):
    with duckdb.connect(str(loaded)) as connection:
        connection.execute("DELETE FROM shots")

    assert write_drives(loaded, [], tmp_path / "drives.parquet") == 0
    write_shots(loaded, tmp_path / "drives.parquet", ADDED.clear(), TOLD, tmp_path / "shots.duckdb")

    assert pl.read_parquet(tmp_path / "drives.parquet").schema == DriveTable.create_empty().schema
    assert table(tmp_path / "shots.duckdb", "SELECT count(*) FROM shots") == [(0,)]


def test_a_database_that_fails_in_the_making_leaves_nothing(tmp_path):
    with pytest.raises(UserError, match="no row"), new_database(tmp_path / "a.duckdb") as connection:  # noqa: PT012
        connection.execute("CREATE TABLE one AS FROM range(100000)")
        raise UserError("no row")

    assert list(tmp_path.iterdir()) == []


def test_pieces_come_in_the_order_of_the_table(loaded):
    found = pl.concat(shots_in_pieces(loaded, ("source", "row")))

    assert found.rows() == list(zip(SOURCES, ROWS, strict=True))


def test_distinct_combinations_hold_nulls(loaded):
    assert read_distinct(loaded, ("device", "ball")).rows() == [("unit-A", None), ("unit-B", None), (None, None)]


RIGHT = {"club_speed_mph": {"unit-A": (1.02, 0.0), "unstated": (1.0, -3.0)}, "carry_measured_yd": {}}


def test_readings_are_put_right_by_device_as_they_are_read(loaded):
    found = pl.concat(shots_in_pieces(loaded, ("row", "club_speed_mph", "carry_measured_yd"), RIGHT))

    assert found.columns == ["row", "club_speed_mph", "carry_measured_yd"]
    assert found.get_column("club_speed_mph").to_list() == pytest.approx([96.9, 96.9, 95.0, 92.0, 92.0])
    assert found.get_column("carry_measured_yd").to_list() == CARRIES


def test_drives_have_readings_put_right_and_stand_in_the_same_order(loaded, tmp_path):
    write_drives(loaded, changes(), tmp_path / "right.parquet", RIGHT)
    write_drives(loaded, changes(), tmp_path / "plain.parquet")

    right, plain = (pl.read_parquet(tmp_path / f"{name}.parquet") for name in ("right", "plain"))
    assert right.select("club_speed_mph").to_series().to_list() == pytest.approx([96.9, 95.0, 96.9, 92.0, 92.0])
    assert right.drop("club_speed_mph").equals(plain.drop("club_speed_mph"))


def test_names_of_devices_can_hold_a_quote(loaded):
    odd = {"club_speed_mph": {"o'x": (2.0, 0.0)}}

    found = pl.concat(shots_in_pieces(loaded, ("club_speed_mph",), odd))

    assert found.to_series().to_list() == [95.0] * 5


def test_golfers_are_summed_up_by_quarter_device_and_ball(tmp_path):
    shots = {
        "source": ["a.csv"] * 5, "row": [1, 2, 3, 4, 5], "golfer": ["ga"] * 4 + ["gb"], "quarter": ["2026Q1"] * 5,
        "device": ["unit-A"] * 4 + [None], "club_speed_mph": [100.0, 90.0, 92.0, 94.0, 80.0],
        "ball_speed_mph": [150.0, None, 138.0, 131.6, None], "launch_deg": [10.0, 12.0, 14.0, 15.0, 9.0],
        "spin_rpm": [2000.0, 3000.0, 9000.0, 4000.0, 2500.0], "spin_measured": [True, None, False, True, False],
        "carry_measured_yd": [240.0, 250.0, 200.0, 210.0, 190.0], "temp_c": [10.0, 20.0, 20.0, 30.0, None],
    }  # fmt: skip
    with new_database(tmp_path / "loaded.duckdb") as connection:
        connection.register("made", filled(LoadedShots, shots).to_arrow())
        connection.execute("CREATE TABLE shots AS FROM made")

    ga, gb = golfer_summaries(tmp_path / "loaded.duckdb").sort("golfer").to_dicts()

    assert (ga["drives"], ga["club_speed_mph"], ga["launch_deg"], ga["carry_yd"]) == (4, 93.0, 13.0, 225.0)
    assert (ga["ball_speed_mph"], ga["spin_rpm"], ga["temp_c"]) == (138.0, 3000.0, 20.0)  # no guessed spin
    assert ga["better_ratio"] == pytest.approx(1.5)  # the upper quartile of 1.4, 1.5 and 1.5
    assert (gb["device"], gb["ball_speed_mph"], gb["spin_rpm"], gb["better_ratio"]) == (None, None, None, None)


def test_drives_are_counted_by_log_and_device(loaded):
    assert devices_of_sources(loaded).rows() == [("a.csv", "unit-A", 2), ("a.csv", "unit-B", 1), ("b.csv", None, 2)]
