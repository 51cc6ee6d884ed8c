"""Speed logs: what becomes of their rows, and that neither names nor times leave the step."""

import json
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner
from collect_samples import KEY, ROW, changed, csv_text, key_file, written

from pipeline.cli import cli
from pipeline.collect import collect_swings, read
from pipeline.collect.names_command import names_in
from pipeline.collect.pseudonym import pseudonym
from pipeline.configuration.layouts import STANDARD_SPEED_LAYOUT, SpeedFile, SpeedLayout
from pipeline.configuration.load import load_study
from pipeline.configuration.log_files import find_speed_logs
from pipeline.configuration.study import SpeedLogEntry
from pipeline.errors import UserError
from pipeline.tables.logs import Rejects, Sources
from pipeline.tables.practice import Swings

DEMO = Path(__file__).parents[2] / "data_demo"
HEADER = "golfer,swung_at,club_speed_mph,set_no,tool"
ANN = pseudonym("Ann Oak", KEY, "golfer")
FOREIGN = SpeedLayout.model_validate(
    {
        "delimiter": ";",
        "decimal": ",",
        "timezone": "Europe/Vienna",
        "columns": {
            "golfer": {"from": "Name"},
            "swung_at": {"from": "Zeit", "format": "%d.%m.%Y %H:%M:%S"},
            "club_speed_mph": {"from": "Tempo", "unit": "m/s"},
            "tool": {"from": "Stab"},
        },
    }
)


def speed_text(*rows, header=HEADER):
    return "\n".join([header, *rows]) + "\n"


def at(clock, speed="95", set_no="", tool="", golfer="Ann Oak"):
    return f"{golfer},2026-08-03T{clock},{speed},{set_no},{tool}"


@pytest.fixture
def collect(tmp_path):
    """Run the step on logs by name: text, or text and layout; give swings, rejects, sources and the folder."""

    def run(**logs):
        paths, described = [], []
        for name, content in logs.items():
            text, layout = content if isinstance(content, tuple) else (content, STANDARD_SPEED_LAYOUT)
            paths.append(str(written(tmp_path / "speed" / f"{name}.csv", text)))
            entry = SpeedLogEntry(files="speed/*.csv", layout=None if layout is STANDARD_SPEED_LAYOUT else "l.yaml")
            one = SpeedFile(source=f"speed/{name}.csv", entry=entry, layout=layout)
            described.append(one.model_dump(mode="json", by_alias=True))
        out = tmp_path / "out"
        files = {name: str(out / name) for name in ("swings", "rejects", "sources")}
        key = str(key_file(tmp_path))
        collect_swings.run(logs=paths, key=key, study="hill-school", log_files=described, **files)
        swings = Swings.validate(pl.read_parquet(files["swings"], glob=False))
        return swings, pl.read_csv(files["rejects"]), pl.read_csv(files["sources"]), out

    return run


def test_swings_are_those_of_the_log_under_the_pseudonym_of_the_drives(collect):
    swings, _, _, _ = collect(a=speed_text(at("10:00:00", "95.5", "2"), at("10:00:20", "118", "3.0", "Light")))

    assert swings.drop("source").rows() == [
        (1, ANN, date(2026, 8, 3), "2026Q3", 95.5, "driver", 2, 1),
        (2, ANN, date(2026, 8, 3), "2026Q3", 118.0, "light", 3, 1),
    ]


def test_foreign_log_is_brought_to_standard_units_and_local_days(collect):
    text = "Name;Zeit;Tempo;Stab\nANN  OAK;04.08.2026 00:30:00;42,6;light\n"

    swings, _, _, _ = collect(a=(text, FOREIGN))

    assert swings.select("golfer", "swung_on", "tool").row(0) == (ANN, date(2026, 8, 4), "light")
    assert swings["club_speed_mph"][0] == pytest.approx(42.6 / 0.44704)


@pytest.mark.parametrize(
    ("row", "rule", "column"),
    [
        ("Ann Oak,2026-08-03,fast,,", "not_a_number", "club_speed_mph"),
        ("Ann Oak,2026-08-03,,,", "missing", "club_speed_mph"),
        (",2026-08-03,95,,", "missing", "golfer"),
        ("Ann Oak,,95,,", "missing", "swung_at"),
        ("Ann Oak,later,95,,", "not_a_time", "swung_at"),
        ("Ann Oak,1980-08-03,95,,", "too_low", "swung_at"),
        ("Ann Oak,2090-08-03,95,,", "in_the_future", "swung_at"),
        ("Ann Oak,2026-08-03,29.9,,", "too_low", "club_speed_mph"),
        ("Ann Oak,2026-08-03,211,,light", "too_high", "club_speed_mph"),
        ("Ann Oak,2026-08-03,166,,driver", "driver_speed_too_high", "club_speed_mph"),
        ("Ann Oak,2026-08-03,95,two,", "not_a_number", "set_no"),
        ("Ann Oak,2026-08-03,95,1000001,", "too_high", "set_no"),
        ("Ann Oak,2026-08-03,95,,wedge", "not_a_tool", "tool"),
        ("Ann Oak,2026-08-03,95,,,more", "ragged", "(row)"),
    ],
)
def test_bad_row_is_rejected_with_its_rule(collect, row, rule, column):
    swings, rejects, sources, _ = collect(a=speed_text(at("10:00:00"), row))

    assert rejects.rows() == [("speed/a.csv", 2, rule, column)]
    assert swings["row"].to_list() == [1]
    assert sources.select("rows", "accepted", "rejected", "duplicates").row(0) == (2, 1, 1, 0)


def test_light_tool_may_be_faster_than_any_driver(collect):
    swings, rejects, _, _ = collect(a=speed_text(at("10:00:00", "170", "", "light")))

    assert (swings.height, rejects.height) == (1, 0)


def test_one_swing_in_two_logs_counts_once_whatever_their_units(collect):
    plain = speed_text(at("10:00:00", "95.3"), at("10:00:20", "95.3"))
    foreign = "Name;Zeit;Tempo\nann oak;03.08.2026 10:00:00;42,6\nann oak;03.08.2026 10:00:20;42,8\n"
    vienna = STANDARD_SPEED_LAYOUT.model_copy(update={"timezone": "Europe/Vienna"})

    swings, _, sources, _ = collect(a=(plain, vienna), b=(foreign, FOREIGN))  # 42.6 m/s is 95.29 mph, 42.8 is 95.74

    assert swings.select("source", "row").rows() == [("speed/a.csv", 1), ("speed/a.csv", 2), ("speed/b.csv", 2)]
    assert sources.select("accepted", "duplicates").rows() == [(2, 0), (1, 1)]


def test_equal_speeds_of_one_day_are_as_many_swings_where_the_log_has_no_clock(collect):
    day = "Ann Oak,2026-08-03,"
    text = speed_text(f"{day}95,,", f"{day}96,,", f"{day}96,,", f"{day}97,,")

    swings, _, sources, _ = collect(a=text, b=speed_text(f"{day}96,,", f"{day}96,,", f"{day}96,,"))

    assert swings["source"].to_list() == ["speed/a.csv"] * 4 + ["speed/b.csv"]
    assert sources["duplicates"].to_list() == [0, 2]


def test_log_whose_swings_were_all_read_before_is_told(collect):
    text = speed_text(at("10:00:00"), at("10:00:20"))

    _, _, sources, _ = collect(a=text, b=text)

    assert sources["reason"].to_list() == [None, "all its 2 swings were read before; leave the log out"]


def test_set_ends_with_three_minutes_of_rest_or_another_tool(collect):
    clocks = ["10:00:00", "10:00:30", "10:03:30", "10:06:31"]
    rows = [at(clock, str(95 + i)) for i, clock in enumerate(clocks)]

    swings, _, _, _ = collect(a=speed_text(*rows[::-1], at("10:06:50", "118", "", "light")))

    found = swings.sort("club_speed_mph").select("set_no", "swing_no").rows()
    assert found == [(1, 1), (1, 2), (1, 3), (2, 1), (3, 1)]


def test_numbered_sets_keep_their_number_and_others_follow(collect):
    swings, _, _, _ = collect(
        a=speed_text(at("10:00:00", "95", "4"), at("10:20:00", "96", "4"), at("10:30:00", "97"), at("10:40:00", "98"))
    )

    assert swings.select("set_no", "swing_no").rows() == [(4, 1), (4, 2), (5, 1), (6, 1)]


def test_sets_of_other_days_and_golfers_are_apart(collect):
    swings, _, _, _ = collect(
        a=speed_text(at("10:00:00"), at("10:00:05", golfer="Bo"), "Ann Oak,2026-08-04T10:00:00,99,,")
    )

    assert swings.select("set_no", "swing_no").rows() == [(1, 1)] * 3


def test_without_a_clock_there_is_no_order_and_no_set_but_a_numbered_one(collect):
    swings, _, _, _ = collect(a=speed_text("Bo,2026-08-03,95,,", "Bo,2026-08-03,96,,", "Bo,2026-08-03,97,3,"))

    assert swings.select("set_no", "swing_no").rows() == [(None, None), (None, None), (3, None)]


def test_refused_log_is_listed_and_the_others_go_on(collect, capsys):
    swings, _, sources, _ = collect(
        a=speed_text(at("10:00:00")), b=speed_text("Ann Oak,1", header="golfer,club_speed_mph")
    )

    reason = "it lacks the required column 'swung_at'"
    assert swings.height == 1
    assert sources.select("status", "rows", "reason").rows() == [("used", 1, None), ("refused", 0, reason)]
    assert f"speed/b.csv: refused, {reason}.\n" in capsys.readouterr().out


def test_near_spelling_of_a_missing_header_is_told(collect):
    _, _, sources, _ = collect(a=speed_text(at("10:00:00"), header=HEADER.replace("swung_at", "swung at")))

    assert sources["reason"][0] == "it lacks the required column 'swung_at'; it has 'swung at'"


def test_log_with_day_and_month_exchanged_is_refused(collect):
    columns = {**FOREIGN.columns, "swung_at": FOREIGN.columns["swung_at"].model_copy(update={"format": "%m.%d.%Y"})}
    layout = FOREIGN.model_copy(update={"columns": columns})
    rows = "".join(f"Ann Oak;{day}.08.2026;42,6;\n" for day in (3, 14, 20))

    _, _, sources, _ = collect(a=(f"Name;Zeit;Tempo;Stab\n{rows}", layout))

    assert sources["status"][0] == "refused"
    assert "2 more fit with day and month exchanged" in sources["reason"][0]


def test_speeds_in_another_unit_look_wrong(collect):
    rows = [at(f"10:00:{i:02d}", str(40 + i / 10)) for i in range(20)]

    _, _, sources, _ = collect(a=speed_text(*rows))

    assert (
        sources["reason"][0] == "most of its driver swings lie outside 50 to 145 mph; check the unit of club_speed_mph"
    )


def test_rule_that_most_rows_break_is_told(collect):
    _, _, sources, _ = collect(a=speed_text(at("10:00:00"), at("10:00:20", "x"), at("10:00:40", "y")))

    assert sources["reason"][0].startswith("2 of 3 rows break the rule not_a_number in club_speed_mph")


def test_no_name_and_no_time_of_day_leaves_the_step(collect, capsys):
    name = "Quorbin Vashtel"
    header = f"{HEADER},{name}"
    rows = [
        at("10:17:41", golfer=name) + ",x",
        at("10:18:02", golfer=name, tool=name) + ",x",
        f"{name},{name},{name},,,",
    ]

    swings, rejects, _, out = collect(
        **{f"of {name}": speed_text(*rows, header=header), "b": speed_text(at("10:17:41"))}
    )

    told = capsys.readouterr().out
    kept = b"".join(path.read_bytes() for path in out.iterdir()) + told.encode()
    names = kept.replace(f"speed/of {name}.csv".encode(), b"").lower()
    assert swings.height == 2
    assert rejects.height == 2
    assert "its file name holds a golfer's name and results show it: rename the file" in told
    assert "columns not used: (column 6)" in told
    assert [part for part in (b"quorbin", b"vashtel", b"ann oak") if part in names] == []
    assert set(swings.columns) == set(Swings.column_names())
    assert "second" not in swings.columns
    assert b"10:17" not in kept
    assert "vashtel" not in str(swings.drop("source").rows()).lower()


def test_study_without_any_usable_log_still_has_its_tables(collect):
    swings, rejects, sources, out = collect(a="")

    assert (swings.height, rejects.height, sources["status"].to_list()) == (0, 0, ["refused"])
    assert (out / "rejects").read_text(encoding="utf-8") == "source,row,rule,column\n"


def test_log_that_changes_while_it_is_read_stops_the_run(collect, monkeypatch):
    states = iter([read.Fingerprint(1, 2, mtime_ns, None) for mtime_ns in (3, 4)])
    monkeypatch.setattr(read, "fingerprint", lambda _: next(states))

    with pytest.raises(UserError, match="it changed while it was read; run again when it is complete"):
        collect(a=speed_text(at("10:00:00")))


def test_running_twice_gives_identical_files(collect):
    rows = [at(f"10:{i:02d}:00", str(90 + i % 7), golfer=f"G{i % 5}") for i in range(50)]
    kept = [{p.name: p.read_bytes() for p in collect(a=speed_text(*rows))[3].iterdir()} for _ in range(2)]

    assert kept[0] == kept[1]


def test_names_of_a_log_are_told_to_the_list_of_names_alone(tmp_path):
    def names_of(text):
        written(tmp_path / "s.csv", text)
        one = SpeedFile(source="s.csv", entry=SpeedLogEntry(files="s.csv"), layout=STANDARD_SPEED_LAYOUT)
        return names_in(tmp_path, one)

    rows = [at("10:00:00", golfer="Bo"), at("10:00:20"), at("10:00:40", golfer="Bo"), at("10:01:00", golfer="")]

    assert names_of(speed_text(*rows)) == ["Bo", "Ann Oak"]
    assert names_of("golfer\nBo\n") == []
    assert names_of("") == []


# --- the study, its check and its list of names


@pytest.fixture
def study(tmp_path):
    folder = tmp_path / "hill"
    entries = "logs:\n  - {files: logs/*.csv}\nspeed_logs:\n  - {files: speed/*.csv}\n"
    written(folder / "study.yaml", f"study: hill-school\n{entries}")
    written(folder / "logs" / "a.csv", csv_text(ROW))
    written(folder / "speed" / "s.csv", speed_text(at("10:00:00"), at("10:00:20", "x"), at("10:00:40", "y")))
    (folder / "private").mkdir()
    key_file(folder / "private")
    return folder


def check(study):
    return CliRunner().invoke(cli, ["check", str(study)])


def test_check_covers_speed_logs(study):
    result = check(study)

    assert result.exit_code == 0
    assert result.stdout.splitlines()[1:3] == [
        "speed/s.csv: 3 rows read, 1 accepted, 2 rejected. Look again: 2 of 3 rows break the rule not_a_number in "
        "club_speed_mph: check its unit, form and header.",
        "  2 x not_a_number in club_speed_mph",
    ]
    assert result.stdout.splitlines()[-1] == "hill-school: no problem found; logs that can be used: 2."


def test_check_tells_a_speed_log_that_cannot_be_used(study):
    written(study / "speed" / "s.csv", "golfer\nAnn\n")

    result = check(study)

    assert result.exit_code == 2
    assert f"{study / 'speed/s.csv'}: can't be used, it lacks the required column 'swung_at'" in result.stderr


def test_list_of_names_holds_golfers_who_only_swing(study):
    rows = [at("10:00:00", golfer="Bo Elm"), at("10:00:20", golfer="ANN OAK"), at("10:00:40", golfer="bo elm")]
    written(study / "speed" / "s.csv", speed_text(*rows))
    written(study / "logs" / "a.csv", csv_text(changed(golfer="Ann Oak")))

    result = CliRunner().invoke(cli, ["names", str(study)])

    lines = (study / "private" / "names.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert result.exit_code == 0
    assert sorted(lines) == sorted([f"{ANN},Ann Oak", f"{pseudonym('Bo Elm', KEY, 'golfer')},Bo Elm"])


def test_file_that_is_a_shot_log_too_is_a_problem(study):
    text = (study / "study.yaml").read_text(encoding="utf-8").replace("speed/*.csv", "logs/*.csv")
    written(study / "study.yaml", text)

    assert "speed_logs[0].files: logs/a.csv is matched by an earlier entry too" in check(study).stderr
    with pytest.raises(UserError, match="matched by an earlier entry too"):
        find_speed_logs(*load_study(study))


def test_layout_of_a_speed_log_has_columns_of_its_own(study):
    written(study / "study.yaml", (study / "study.yaml").read_text(encoding="utf-8").replace(
        "speed/*.csv", "speed/*.csv, layout: speed.yaml"
    ))  # fmt: skip
    written(study / "speed.yaml", "columns: {golfer: {from: N}, struck_at: {from: T}, set_no: {from: S, unit: mph}}\n")

    told = check(study).stderr

    assert "'struck_at' isn't a standard column" in told
    assert "column 'set_no' can't have the unit 'mph'; leave the unit out" in told


def test_study_without_speed_logs_has_none(study):
    written(study / "study.yaml", "study: hill-school\nlogs:\n  - {files: logs/*.csv}\n")

    assert find_speed_logs(*load_study(study)) == []


# --- the demo


def test_demo_gives_the_planted_rejects_and_duplicates(tmp_path):
    folder, study = load_study(DEMO)
    logs = find_speed_logs(folder, study)
    out = {name: str(tmp_path / name) for name in ("swings", "rejects", "sources")}

    collect_swings.run(
        logs=[str(folder / log.source) for log in logs],
        key=str(folder / study.privacy.key_file),
        study=study.study,
        log_files=[log.model_dump(mode="json", by_alias=True) for log in logs],
        **out,
    )

    planted = json.loads((DEMO / "speed/planted.json").read_text(encoding="utf-8"))["logs"]
    swings, sources = pl.read_parquet(out["swings"]), pl.read_csv(out["sources"])
    rejects = Rejects.validate(pl.read_csv(out["rejects"]))
    Sources.validate(sources, cast=True)
    assert rejects.rows() == [
        (source, bad["row"], bad["rule"], bad["column"])
        for source in sorted(planted)
        for bad in planted[source]["rejected"]
    ]
    for source, told in planted.items():
        kept = set(range(1, told["rows"] + 1)) - {bad["row"] for bad in told["rejected"]} - set(told["duplicates"])
        assert set(swings.filter(pl.col("source") == source)["row"]) == kept
    assert sources["duplicates"].sum() == sum(len(told["duplicates"]) for told in planted.values()) == 42
    assert sources["reason"].null_count() == sources.height
    assert swings["golfer"].n_unique() == 12
