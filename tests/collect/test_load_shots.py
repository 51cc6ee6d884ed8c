from dataclasses import asdict

import duckdb
import polars as pl
import pytest
from collect_samples import HEADER, KEY, ROW, changed, csv_text, written
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.collect.load_shots import SAME_READING
from pipeline.collect.pseudonym import pseudonym
from pipeline.collect.receipt import Receipt
from pipeline.collect.sources import sources_table
from pipeline.configuration.layouts import Layout
from pipeline.edge.collected_files import load_drives
from pipeline.tables.logs import LoadedShots, Rejects, Sources

METRIC = Layout.model_validate(
    {
        "delimiter": ";",
        "decimal": ",",
        "timezone": "Europe/Vienna",
        "columns": {
            "golfer": {"from": "Name"},
            "struck_at": {"from": "Zeit", "format": "%d.%m.%Y %H:%M:%S"},
            "club_speed_mph": {"from": "Schlaeger", "unit": "m/s"},
            "launch_deg": {"from": "Winkel"},
            "spin_rpm": {"from": "Drall", "unit": "1/s"},
            "carry_yd": {"from": "Flug", "unit": "m"},
        },
    }
)


def table(folder, query):
    with duckdb.connect(str(folder / "loaded.duckdb"), read_only=True) as connection:
        return connection.sql(query).fetchall()


class Told:
    """Stands for a connection, and keeps what it was told to do."""

    def __init__(self, connection):
        self.connection, self.queries = connection, []

    def execute(self, query, *given):
        self.queries.append(query)
        return self.connection.execute(query, *given)


def kept(folder):
    return table(folder, "SELECT source, row FROM shots ORDER BY source, row")


def sources(folder):
    return pl.read_csv(folder / "sources.csv")


def test_first_of_repeated_rows_in_a_log_is_kept(tmp_path, collect, load):
    log = collect(written(tmp_path / "a.csv", csv_text(ROW, changed(carry_yd="230"), ROW, ROW)))

    folder = load(log)

    assert kept(folder) == [("a.csv", 1), ("a.csv", 2)]
    assert sources(folder).select("rows", "accepted", "rejected", "duplicates").row(0) == (4, 2, 0, 2)


def test_duplicate_in_another_log_is_charged_to_the_later_one(tmp_path, collect, load):
    later = collect(written(tmp_path / "b.csv", csv_text(changed(struck_at="2026-08-03T10:00:01"), ROW)))
    first = collect(written(tmp_path / "a.csv", csv_text(ROW)))

    folder = load(later, first)

    assert kept(folder) == [("a.csv", 1), ("b.csv", 1)]
    assert sources(folder).select("source", "accepted", "duplicates").rows() == [("a.csv", 1, 0), ("b.csv", 1, 1)]


def test_one_shot_in_other_units_is_a_duplicate(tmp_path, collect, load):
    plain = csv_text(changed(struck_at="2026-08-03T08:00:00.250Z", club_speed_mph="95.3", carry_yd="225"))
    # 95.3 mph is 42.60 m/s, 2500 rpm is 41.7 1/s, 225 yd is 205.7 m: the other export rounds, has no ball speed,
    # cuts the fraction of a second off and writes the local time.
    metric = "Name;Zeit;Schlaeger;Winkel;Drall;Flug\nANN OAK;03.08.2026 10:00:00;42,6;12,1;42;206\n"
    one = collect(written(tmp_path / "a.csv", plain))
    other = collect(written(tmp_path / "b.csv", metric), METRIC)

    folder = load(one, other)

    assert kept(folder) == [("a.csv", 1)]
    assert sources(folder)["duplicates"].to_list() == [0, 1]


@pytest.mark.parametrize(
    ("cells", "is_new"),
    [
        ({"golfer": "Bo"}, True),
        ({"struck_at": "2026-08-03T10:00:01"}, True),
        ({"club_speed_mph": "95.24"}, False),
        ({"club_speed_mph": "95.26"}, True),
        ({"launch_deg": "12.14"}, False),
        ({"launch_deg": "12.16"}, True),
        ({"spin_rpm": "2535"}, False),
        ({"spin_rpm": "2537"}, True),
        ({"carry_yd": "226.09"}, False),
        ({"carry_yd": "226.11"}, True),
        ({"ball_speed_mph": ""}, False),
    ],
)
def test_same_golfer_second_and_readings_make_a_duplicate(tmp_path, collect, load, cells, is_new):
    log = collect(written(tmp_path / "a.csv", csv_text(ROW, changed(**cells))))

    assert (len(kept(load(log))) == 2) is is_new


def test_refused_log_is_listed_and_the_others_go_on(tmp_path, collect, load, capsys):
    good = collect(written(tmp_path / "a.csv", csv_text(ROW)))
    bad = collect(written(tmp_path / "b.csv", ""))
    capsys.readouterr()

    folder = load(good, bad)

    assert capsys.readouterr().out == (
        "1 of 2 logs used: 1 rows, 1 accepted, 0 rejected, 0 duplicates.\n"
        "b.csv: refused, the file is empty; export it again.\n"
    )
    assert sources(folder).select("source", "status", "reason").rows() == [
        ("a.csv", "used", None),
        ("b.csv", "refused", "the file is empty; export it again"),
    ]


def test_study_without_any_usable_log_still_has_its_tables(tmp_path, collect, load):
    folder = load(collect(written(tmp_path / "a.csv", "")))

    assert kept(folder) == []
    assert (folder / "rejects.csv").read_text(encoding="utf-8") == "source,row,rule,column\n"
    assert sources(folder).height == 1


def test_tables_have_their_schemas(tmp_path, collect, load):
    collect(written(tmp_path / "x a.csv", csv_text(ROW)))  # what the brackets would match as a pattern
    folder = load(collect(written(tmp_path / "[x] a.csv", csv_text(ROW, changed(carry_yd="?")))))

    with duckdb.connect(str(folder / "loaded.duckdb"), read_only=True) as connection:
        made = {
            name: pl.DataFrame(connection.sql(f"FROM {name}").to_arrow_table())
            for name in ("shots", "rejects", "sources")
        }

    assert LoadedShots.validate(made["shots"])["source"].to_list() == ["[x] a.csv"]
    assert Rejects.validate(made["rejects"]).rows() == [("[x] a.csv", 2, "not_a_number", "carry_yd")]
    assert Sources.validate(made["sources"], cast=True).height == 1
    assert (folder / "rejects.csv").read_text(encoding="utf-8") == (
        "source,row,rule,column\n[x] a.csv,2,not_a_number,carry_yd\n"
    )


def test_sources_that_do_not_add_up_raise():
    receipt = asdict(Receipt("a", "0" * 64, "used", rows=3, accepted=1, rejected=1))

    with pytest.raises(Exception, match="rows_add_up"):
        sources_table([receipt], {}, {})


DAMAGE = st.sampled_from(
    ["", "abc", "-", "99999", "-5", '"', "a,b", "\u00fc", "1e400", "2026-99-99", "\x00", "NaN", "0"]
)


@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    damage=st.lists(st.tuples(st.integers(0, 11), st.integers(0, 6), DAMAGE), max_size=12),
    repeats=st.lists(st.integers(0, 11), max_size=5),
)
def test_every_row_ends_somewhere_whatever_is_damaged(tmp_path, collect, load, damage, repeats):
    rows = [changed(struck_at=f"2026-08-03T10:00:{i:02d}").split(",") for i in range(12)]
    for row, column, cell in damage:
        rows[row][column] = cell
    rows += [rows[i] for i in repeats]
    log = collect(written(tmp_path / "a.csv", csv_text(*(",".join(row) for row in rows))))

    folder = load(log)

    count = sources(folder).row(0, named=True)
    stray_quote = any(cell == '"' for row in rows for cell in row)
    assert (count["status"] == "refused") <= stray_quote
    blank = sum(all(cell == "" for cell in row) for row in rows)
    if count["status"] == "used":
        assert count["rows"] == len(rows) - blank
        assert count["accepted"] == len(kept(folder))
        assert count["rejected"] == pl.read_csv(folder / "rejects.csv").height
    assert count["rows"] == count["accepted"] + count["rejected"] + count["duplicates"]


def test_running_twice_gives_identical_files(tmp_path, collect, load):
    header = f"{HEADER},group,remark"
    text = csv_text(
        *(f"{changed(golfer=f'G{i % 9}', spin_rpm=str(2000 + 37 * i))},Team {i % 3},r" for i in range(200)),
        header=header,
    )
    log = written(tmp_path / "a.csv", text.replace("2259,", "x,"))

    one, two = collect(log, out="one"), collect(log, out="two")
    loaded = [load(one, out="l1"), load(two, out="l2")]

    for name in one.paths:
        assert one.paths[name].read_bytes() == two.paths[name].read_bytes()
    for name in ("rejects.csv", "sources.csv"):
        assert (loaded[0] / name).read_bytes() == (loaded[1] / name).read_bytes()
    assert table(loaded[0], "FROM shots") == table(loaded[1], "FROM shots")
    assert len(kept(loaded[0])) == 199


def test_no_name_is_in_any_byte_of_the_results(tmp_path, collect, load, capsys):
    name, team, remark = "Quillfeather Oak", "Zanzibarteam", "Xylophoneremark"
    rows = [
        f"{changed(golfer=name)},{team},{remark}",
        f"{changed(golfer=name, carry_yd='x')},{team},{remark}",
        f"{changed(golfer=name, struck_at=name)},{team},{remark}",
    ]
    result = collect(written(tmp_path / "a.csv.gz", csv_text(*rows, header=f"{HEADER},group,remark")))

    folder = load(result)

    files = [*result.paths.values(), *folder.iterdir()]
    content = b"".join(path.read_bytes() for path in files).lower() + capsys.readouterr().out.lower().encode()
    # Compressed pages could hide a name, so the tables are looked through as well.
    content += str(result.shots.rows() + result.rejects.rows() + table(folder, "FROM shots")).lower().encode()
    assert len(files) == 7
    assert result.shots["golfer"][0].encode() in content
    for word in (name.split()[0], team, remark):
        assert word.lower().encode() not in content


def test_group_is_masked_and_constant_group_too(tmp_path, collect):
    log = written(tmp_path / "a.csv", csv_text(f"{ROW},Team 1", f"{ROW},", header=f"{HEADER},group"))

    shots = collect(log, group="Team 2").shots

    assert shots["group"].to_list() == [pseudonym("team 1", KEY, "group"), pseudonym("team 2", KEY, "group")]
    assert shots["golfer"].unique().to_list() == [pseudonym("Ann Oak", KEY, "golfer")]


def test_a_log_named_like_a_formula_is_no_formula_in_the_tables(tmp_path, collect, load):
    log = written(tmp_path / "=1+1.csv", csv_text(ROW, changed(carry_yd="x")))

    folder = load(collect(log))

    assert (folder / "rejects.csv").read_text(encoding="utf-8").splitlines()[1].startswith("'=1+1.csv,2,")
    assert (folder / "sources.csv").read_text(encoding="utf-8").splitlines()[1].startswith("'=1+1.csv,")


def test_drives_of_small_logs_are_put_in_order_and_stored_once(tmp_path, collect):
    shots = {name: collect(written(tmp_path / f"{name}.csv", csv_text(changed(golfer=name)))).shots for name in "abcd"}
    paths = [tmp_path / "1.parquet", tmp_path / "2.parquet"]
    for path, names in zip(paths, ("bd", "ac"), strict=True):
        pl.concat(shots[name] for name in names).write_parquet(path)

    with duckdb.connect() as connection:
        told = Told(connection)
        load_drives(told, list(map(str, paths)), SAME_READING)
        found = connection.execute("SELECT source FROM shots").fetchall()

    assert found == [(f"{name}.csv",) for name in "abcd"]
    assert len([query for query in told.queries if query.startswith("INSERT INTO")]) == 1
    assert len([query for query in told.queries if "ORDER BY source, row" in query]) == 1
