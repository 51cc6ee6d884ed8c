import duckdb
import polars as pl
import pytest
from collect_samples import HEADER, csv_text, written

from pipeline.collect.further import by_golfer, identifying, lacking
from pipeline.configuration.layouts import Layout
from pipeline.errors import UserError
from pipeline.tables.logs import Readings

TEE = ("tee_mm",)


def rows(*cells, golfers=("Ann Oak",)):
    """Give a row for each cell of the further column, golfers in turn, a second apart."""
    return [
        f"{golfers[k % len(golfers)]},2026-08-03T10:{k // 60:02}:{k % 60:02},95,140,{12 + k % 5},2500,225,{cell}"
        for k, cell in enumerate(cells)
    ]


def log_of(folder, *cells, header="tee_mm", name="a.csv", golfers=("Ann Oak",)):
    return written(folder / name, csv_text(*rows(*cells, golfers=golfers), header=f"{HEADER},{header}"))


def readings(log):
    return Readings.validate(pl.read_parquet(log.paths["readings"], glob=False))


def golfers_with(values, column="member"):
    """Sum up readings of golfers a, b, ...: a list of values each."""
    table = [{"column": column, "golfer": f"g{k}", "value": float(v)} for k, own in enumerate(values) for v in own]
    return by_golfer(pl.DataFrame(table))


def test_a_further_column_is_stored_as_numbers_and_rejects_no_drive(tmp_path, collect):
    log = collect(log_of(tmp_path, "42.5", "", "high", "-", "38"), regressors=TEE)
    assert readings(log).rows() == [("a.csv", 1, "tee_mm", 42.5), ("a.csv", 5, "tee_mm", 38.0)]
    assert log.shots.height == 5
    assert log.receipt["further"] == {"tee_mm": {"numbers": 2, "no_number": 1}}
    assert log.receipt["dropped"] == []


def test_the_reading_of_a_rejected_row_is_not_stored(tmp_path, collect):
    lines = rows("42.5", "38")
    lines[0] = lines[0].replace(",225,", ",far,")
    log = collect(written(tmp_path / "a.csv", csv_text(*lines, header=f"{HEADER},tee_mm")), regressors=TEE)
    assert readings(log).get_column("row").to_list() == [2]


def test_a_layout_says_where_the_column_is_and_which_decimal_mark_it_has(tmp_path, collect):
    columns = {name: {"from": name} for name in HEADER.split(",")} | {"tee_mm": {"from": "Tee mm"}}
    layout = Layout.model_validate({"columns": columns, "delimiter": ";", "decimal": ","}, context={"regressors": TEE})
    text = csv_text(*rows("42|5"), header=f"{HEADER},Tee mm").replace(",", ";").replace("|", ",")
    log = collect(written(tmp_path / "a.csv", text), layout, regressors=TEE)
    assert readings(log).get_column("value").to_list() == [42.5]


def test_a_standard_column_is_not_read_again_as_a_further_one(tmp_path, collect):
    columns = {name: {"from": name} for name in HEADER.split(",")} | {"attack_deg": {"from": "tee_mm"}}
    layout = Layout.model_validate({"columns": columns})
    assert readings(collect(log_of(tmp_path, "4"), layout, regressors=TEE)).is_empty()


@pytest.mark.parametrize("name", ["ragged", "cell", "row_", "fault_rule", "value", "column"])
def test_a_further_column_may_be_called_as_a_batch_calls_its_own(tmp_path, collect, name):
    log = collect(log_of(tmp_path, "4", header=name), regressors=(name,))
    assert readings(log).rows() == [("a.csv", 1, name, 4.0)]


def test_without_regressors_no_readings_are_made(tmp_path, collect, load):
    log = collect(log_of(tmp_path, "4"))
    assert log.receipt["dropped"] == ["tee_mm"]
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "a.csv.names.json",
        "a.csv.receipts.json",
        "a.csv.rejects.parquet",
        "a.csv.shots.parquet",
    ]
    with duckdb.connect(str(load(log) / "loaded.duckdb"), read_only=True) as connection:
        assert ("readings",) not in connection.sql("SHOW TABLES").fetchall()


def test_readings_of_duplicates_are_not_loaded(tmp_path, collect, load):
    logs = [collect(log_of(tmp_path, "4", "5", name=name), regressors=TEE) for name in ("a.csv", "b.csv")]
    with duckdb.connect(str(load(*logs, further=TEE) / "loaded.duckdb"), read_only=True) as connection:
        stored = connection.sql("FROM readings").fetchall()
    assert stored == [("a.csv", 1, "tee_mm", 4.0), ("a.csv", 2, "tee_mm", 5.0)]


def test_a_column_that_no_log_has_stops_the_run_with_the_nearest_name(tmp_path, collect, load):
    log = collect(log_of(tmp_path, "4", header="Tee (mm)"), regressors=TEE)
    with pytest.raises(UserError, match=r"no drive has a number in 'tee_mm'; did you mean 'Tee \(mm\)'\?"):
        load(log, further=TEE)


def test_a_standard_column_may_be_what_was_meant():
    assert lacking({"attack": 0, "temp_c": 3}, []) == [
        "study.yaml: model.regressors: no drive has a number in 'attack'; did you mean 'attack_deg'?"
    ]
    assert lacking({"qqq": 0}, ["Remark"])[0].endswith("correct the name, or leave it out.")


def test_numbers_of_members_stop_a_log_before_anything_of_it_is_stored(tmp_path, collect):
    with pytest.raises(UserError, match="'tee_mm' holds whole numbers of 6 digits or more"):
        collect(log_of(tmp_path, "4071823", "4071823", "5"), regressors=TEE)
    assert list((tmp_path / "out").glob("*.readings.parquet")) == []


def test_a_number_of_one_golfer_each_is_found_over_all_logs_and_deleted(tmp_path, collect, load):
    logs = [
        collect(
            log_of(tmp_path, *[f"{number}"] * 4, name=f"{number}.csv", golfers=(f"Ann Oak {number}",)), regressors=TEE
        )
        for number in (31, 32, 33, 34, 35)
    ]
    with pytest.raises(
        UserError, match="'tee_mm' is the same for all drives of a golfer and different between golfers"
    ):
        load(*logs, further=TEE)
    assert list((tmp_path / "out").glob("*.readings.parquet")) == []
    assert not (tmp_path / "loaded" / "loaded.duckdb").exists()


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ([[k] * 3 for k in range(5)], True),
        ([[k] * 3 for k in range(19)] + [[1, 2, 3]], True),  # one was mistyped
        ([[k] * 3 for k in range(4)], False),  # too few golfers to see a pattern
        ([[k % 3] * 3 for k in range(20)], False),  # many share a value, such as a class of age
        ([[k, k, k + 0.5] for k in range(20)], False),  # it varies by drive
        ([[k] for k in range(20)], False),  # one drive each shows nothing
        ([[100_000 + k, 3.5] for k in range(5)], True),
        ([[99_999, 3.5] for _ in range(5)], False),
        ([[101_325.5, 101_300.5] for _ in range(5)], False),  # no whole numbers
    ],
)
def test_what_identifies_golfers(values, told):
    assert bool(identifying(golfers_with(values))) is told


def test_golfers_of_several_logs_are_put_together():
    one = golfers_with([[k] * 2 for k in range(6)])
    other = golfers_with([[k + 1] * 2 for k in range(6)])
    assert identifying(pl.concat([one, one]))
    assert not identifying(pl.concat([one, other]))
