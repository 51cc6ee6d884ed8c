import duckdb
import polars as pl
import pytest

from pipeline.edge.database import shots_in_pieces, store_changes, write_drives
from pipeline.tables import DriveTable, Shots

# By source and row, as loading leaves them; three golfers in two logs.
SOURCES = ["a.csv", "a.csv", "a.csv", "b.csv", "b.csv"]
ROWS = [1, 2, 5, 1, 2]
GOLFERS = ["gb", "ga", "gb", "gc", "ga"]
CARRIES = [200.0, 210.0, 220.0, 230.0, 240.0]


@pytest.fixture
def loaded(tmp_path):
    given = {"source": SOURCES, "row": ROWS, "golfer": GOLFERS, "carry_yd": CARRIES, "club_speed_mph": [95.0] * 5}
    shots = pl.DataFrame({name: given.get(name) for name in Shots.columns()}, schema=Shots.create_empty().schema)
    path = tmp_path / "loaded.duckdb"
    with duckdb.connect(str(path)) as connection:
        for name, table in (("shots", shots), ("rejects", shots.head(2)), ("sources", shots.head(1))):
            connection.register("made", table.to_arrow())
            connection.execute(f"CREATE TABLE {name} AS FROM made")
    return path


def changes(rows=ROWS):
    yield pl.DataFrame({"row": rows[:3], "carry_change_yd": [1.0, -2.0, 3.0]})
    yield pl.DataFrame({"row": rows[3:], "carry_change_yd": [-4.0, 5.0]})


def test_each_drive_gets_its_own_change_and_nothing_else_moves(loaded, tmp_path):
    store_changes(loaded, changes(), tmp_path / "shots.duckdb")

    with duckdb.connect(str(tmp_path / "shots.duckdb"), read_only=True) as made:
        found = made.sql("SELECT source, row, carry_yd, carry_change_yd, carry_standard_yd FROM shots").fetchall()
        made.execute(f"ATTACH '{loaded}' AS old (READ_ONLY)")
        stored = "SELECT * EXCLUDE (carry_change_yd, carry_standard_yd) FROM shots"
        same = made.sql(f"SELECT count(*) FROM ({stored} INTERSECT FROM old.shots)").fetchall()
        kept = [made.sql(f"SELECT count(*) FROM {name}").fetchall() for name in ("rejects", "sources")]
    moves = [1.0, -2.0, 3.0, -4.0, 5.0]
    assert found == [
        (*where, carry, move, carry + move)
        for where, carry, move in zip(zip(SOURCES, ROWS, strict=True), CARRIES, moves, strict=True)
    ]
    assert same == [(5,)]
    assert kept == [[(2,)], [(1,)]]


@pytest.mark.parametrize("rows", [[1, 2, 5, 1], [1, 2, 5, 2, 1], [1, 2, 5, 1, 2, 3]])
def test_changes_of_other_drives_are_not_stored(loaded, tmp_path, rows):
    given = pl.DataFrame({"row": rows, "carry_change_yd": [0.0] * len(rows)})

    with pytest.raises(duckdb.Error, match="changes of other drives"):
        store_changes(loaded, [given], tmp_path / "shots.duckdb")


def test_drives_stand_by_golfer_with_their_standard_carry(loaded, tmp_path):
    store_changes(loaded, changes(), tmp_path / "shots.duckdb")

    write_drives(tmp_path / "shots.duckdb", tmp_path / "drives.parquet")

    drives = pl.read_parquet(tmp_path / "drives.parquet")
    assert drives.schema == DriveTable.create_empty().schema
    assert drives.select("golfer", "source", "row", "carry_standard_yd", "carry_measured_yd").rows() == [
        ("ga", "a.csv", 2, 208.0, 210.0),
        ("ga", "b.csv", 2, 245.0, 240.0),
        ("gb", "a.csv", 1, 201.0, 200.0),
        ("gb", "a.csv", 5, 223.0, 220.0),
        ("gc", "b.csv", 1, 226.0, 230.0),
    ]


def test_a_study_without_drives_has_its_tables(loaded, tmp_path):
    with duckdb.connect(str(loaded)) as connection:
        connection.execute("DELETE FROM shots")

    store_changes(loaded, [], tmp_path / "shots.duckdb")
    write_drives(tmp_path / "shots.duckdb", tmp_path / "drives.parquet")

    assert pl.read_parquet(tmp_path / "drives.parquet").schema == DriveTable.create_empty().schema


def test_pieces_come_in_the_order_of_the_table(loaded):
    found = pl.concat(shots_in_pieces(loaded, ("source", "row")))

    assert found.rows() == list(zip(SOURCES, ROWS, strict=True))
