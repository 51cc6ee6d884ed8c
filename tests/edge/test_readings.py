"""Regressors beside drives.parquet, and readings in shots.duckdb."""

import duckdb
import polars as pl
import pytest
from test_database import ADDED, TOLD, changes, drives, loaded

from pipeline.edge.database import write_shots
from pipeline.edge.readings import numbers_loaded, write_regressors
from pipeline.tables.columns import column_comments
from pipeline.tables.logs import Readings

assert changes
assert drives
assert loaded


@pytest.fixture
def with_readings(loaded):
    readings = pl.DataFrame(
        {
            "source": ["a.csv", "a.csv", "b.csv"],
            "row": [1, 1, 2],
            "column": ["bay_no", "tee's", "bay_no"],
            "value": [3.0, 42.5, 7.0],
        }
    )
    with duckdb.connect(str(loaded)) as connection:
        connection.register("made", readings.to_arrow())
        connection.execute("CREATE TABLE readings AS FROM made")
    return loaded


def test_regressors_are_written_row_by_row_as_the_drives_stand(with_readings, drives, tmp_path):
    write_regressors(with_readings, drives, ["ball_speed_mph", "bay_no"], tmp_path / "beside.parquet")
    found, order = pl.read_parquet(tmp_path / "beside.parquet"), pl.read_parquet(drives)
    assert found.select("source", "row").equals(order.select("source", "row"))
    assert found.columns == ["source", "row", "ball_speed_mph", "bay_no"]
    numbers = {("a.csv", 1): 3.0, ("b.csv", 2): 7.0}
    assert found.get_column("bay_no").to_list() == [numbers.get(key) for key in found.select("source", "row").rows()]


def test_standard_columns_alone_need_no_readings(loaded, drives, tmp_path):
    write_regressors(loaded, drives, ["temp_c"], tmp_path / "beside.parquet")
    assert pl.read_parquet(tmp_path / "beside.parquet").get_column("temp_c").null_count() == 5
    assert numbers_loaded(loaded, ["ball_speed_mph", "temp_c"]) == {"ball_speed_mph": 3, "temp_c": 0}
    assert numbers_loaded(loaded, []) == {}


def test_readings_are_in_the_database_with_comments_only_if_there_are_any(with_readings, drives, tmp_path):
    write_shots(with_readings, drives, ADDED, TOLD, tmp_path / "shots.duckdb")
    with duckdb.connect(str(tmp_path / "shots.duckdb"), read_only=True) as connection:
        assert connection.sql("SELECT * FROM readings").fetchall()[0] == ("a.csv", 1, "bay_no", 3.0)
        told = connection.sql(
            "SELECT column_name, comment FROM duckdb_columns() WHERE table_name = 'readings'"
        ).fetchall()
    assert dict(told) == column_comments(Readings)


def test_a_study_without_further_columns_has_no_table_of_them(loaded, drives, tmp_path):
    write_shots(loaded, drives, ADDED, TOLD, tmp_path / "shots.duckdb")
    with duckdb.connect(str(tmp_path / "shots.duckdb"), read_only=True) as connection:
        assert "readings" not in [name for (name,) in connection.sql("SHOW TABLES").fetchall()]
