import json
import re

import pytest

from pipeline.configuration.layouts import STANDARD_LAYOUT, Layout, LogFile
from pipeline.configuration.load import load_layout, load_study
from pipeline.configuration.log_files import find_logs, survey_logs
from pipeline.errors import UserError
from pipeline.tables.logs import LOG_COLUMNS, NUMBERS
from pipeline.units import units_of

SMALLEST = "study: hill-school\nlogs: [{files: logs/*.csv}]\n"


@pytest.fixture
def study(tmp_path):
    (tmp_path / "logs").mkdir()
    for name in ("b.csv", "a.csv"):
        (tmp_path / "logs" / name).write_text("x\n", encoding="utf-8")
    (tmp_path / "study.yaml").write_text(SMALLEST, encoding="utf-8")
    return tmp_path


def rewritten(folder, text, name="study.yaml"):
    (folder / name).write_text(text, encoding="utf-8")
    return folder / name


def test_every_key_but_two_has_a_default(study):
    folder, configured = load_study(study)

    assert folder == study
    assert configured.bands.centres == (70, 80, 90, 100, 110)
    assert (configured.flags.lost_yd, configured.flags.false_discovery_rate, configured.flags.min_shots) == (
        10,
        0.1,
        12,
    )
    assert (configured.privacy.key_file, configured.privacy.min_golfers) == ("private/pseudonym.key", 5)
    assert (configured.window_tolerance_yd, configured.bands.half_width_mph, configured.seed) == (5, 5, 1)
    assert (configured.air.temp_c, configured.air.pressure_hpa, configured.air.humidity) == (15, 1013.25, 0)


@pytest.mark.parametrize(
    "model",
    ["{candidates: [], choose: line}", "{candidates: [], formulas: {mine: ball}, choose: mine}", "{choose: null}"],
)
def test_a_study_may_name_the_model_to_use(study, model):
    rewritten(study, f"{SMALLEST}model: {model}\n")
    assert load_study(study)[1].model.choose in ("line", "mine", None)


def test_study_is_named_by_its_file_too(study):
    assert load_study(study / "study.yaml") == load_study(study)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("logs: [{files: x}]", "study.yaml: the key 'study' is missing; add it."),
        ("study: a\nlogs: []", "study.yaml: line 2: logs: "),
        (
            SMALLEST + "seeds: 3",
            "study.yaml: line 3: unknown key 'seeds' (did you mean 'seed'?); valid here: study, logs,",
        ),
        (SMALLEST + "flags: {lost: 3}", "unknown key 'flags.lost' (did you mean 'lost_yd'?); valid here: lost_yd"),
        (
            SMALLEST + "flags: {min_shots: 1}",
            "flags.min_shots: input should be greater than or equal to 3, but it is 1.",
        ),
        (
            SMALLEST + "privacy: {min_golfers: 2}",
            "study.yaml: line 3: privacy.min_golfers: must be at least 3, not 2: of a figure of two golfers each can "
            "calculate the other's; leave it out for 5.",
        ),
        (SMALLEST + "privacy: {min_golfers: 1}", "privacy.min_golfers: must be at least 3, not 1: of a figure of two"),
        (
            SMALLEST + "report: {sheets: all, most_sheets: 1000}",
            "study.yaml: line 3: the key 'report' isn't used any more: the academy's page prints the sheet of any "
            "golfer. Delete it.",
        ),
        (SMALLEST + "seed: soon", "study.yaml: line 3: seed: should be a whole number, but it is 'soon'."),
        (SMALLEST + "bands: {centres: [90, 90]}", "study.yaml: line 3: bands.centres: names a center twice."),
        ("study: a/b\nlogs: [{files: x}]", "study.yaml: line 1: study: "),
        ("study: a\nlogs: [{file: x}]", "unknown key 'logs[0].file' (did you mean 'files'?); valid here: files,"),
        ("", "study.yaml: holds no keys; write at least 'study:' and 'logs:'."),
        ("- study: a", "study.yaml: holds a list, not keys; write at least 'study:' and 'logs:'."),
        ("study", "study.yaml: holds text, not keys; write at least 'study:' and 'logs:'."),
        ("study: a\nlogs:\n\t- x", "study.yaml: isn't valid YAML near line 3; it has a tab where spaces belong."),
        (SMALLEST + "seed: 1\nseed: 2", "study.yaml: line 4: the key 'seed' is in line 3 too; keep one."),
        (SMALLEST + "flags: {lost_yd: 3,\n lost_yd: 4}", "line 4: the key 'flags.lost_yd' is in line 3 too"),
        (SMALLEST + "---\nseed: 1", "study.yaml: holds a second document near line 3; leave out the line of three"),
        (SMALLEST + "1: 2", "study.yaml: line 3: the key '1' isn't a word; put it in quotes or correct it."),
        (SMALLEST + "no: 2", "study.yaml: line 3: the key 'no' isn't a word"),
        (SMALLEST + "flags: &x [*x]", "study.yaml: a value refers to another by a star; write the value out."),
        (
            SMALLEST + "seed: " + "[" * 900_000,
            "study.yaml: nests values more than 50 deep, in brackets or by indentation; no setting does",
        ),
        (
            "\ufeff\ufeff" + SMALLEST,
            "study.yaml: begins with two byte-order marks; save it again as UTF-8, with one or",
        ),
        ("? " * 100_000, "study.yaml: nests values more than 50 deep, in brackets or by indentation; no setting does"),
        ("a: [" + "1," * 100_000 + "1]", "study.yaml: holds more than 100,000 words and signs; no setting needs that"),
        (SMALLEST + "seed: 2026-02-30", "study.yaml: holds a value that can't be read; put dates and long numbers"),
        (SMALLEST + "seed: yes", "line 3: seed: is yes or no (true), where something else belongs; correct it."),
        (SMALLEST + "flags: 3", "study.yaml: line 3: flags: should hold keys of its own, but it is 3."),
        (SMALLEST + "flags:\n  lost_yd: '10,5'", "line 4: flags.lost_yd: should be a number, written with a point,"),
        (SMALLEST + "flags:", "study.yaml: line 3: flags: should hold keys of its own, but it is empty."),
        ("study: 2026-09-30\nlogs: [{files: x}]", "line 1: study: should be text, in quotes if it looks like a number"),
        ("study: a\nlogs: x.csv", "study.yaml: line 2: logs: should be a list, but it is 'x.csv'."),
        ("study: a\nlogs:\n  - files: x\n  - site: y", "line 4: the key 'logs[1].files' is missing; add it."),
        (SMALLEST + "lost_yd: 3", "line 3: unknown key 'lost_yd' (did you mean 'flags.lost_yd'?); valid here: study,"),
        (
            SMALLEST + "flight: {turf: firmm}",
            "flight.turf: input should be 'soft', 'normal' or 'firm', but it is 'firmm' (did you mean 'firm'?).",
        ),
        (
            SMALLEST + "model: {choose: quadrtic}",
            "line 3: model.choose: there is no candidate 'quadrtic' (did you mean 'quadratic'?); there are",
        ),
        (SMALLEST + "model: {candidates: []}", "line 3: model: candidates names none; name some of line, flight,"),
        (SMALLEST + "model: {folds: 1}", "model.folds: input should be greater than or equal to 2, but it is 1."),
        (
            SMALLEST + "model: {candidates: [spline]}",
            "input should be 'line', 'flight', 'quadratic' or 'splines', but it is 'spline' (did you mean 'splines'?).",
        ),
        (
            SMALLEST + "efficient: {strike: 0.4}",
            "line 3: efficient.strike: input should be greater than or equal",
        ),
        (SMALLEST + "flight: {sets: []}", "line 3: flight.sets: "),
        (SMALLEST + "intervals: {level: 90}", "line 3: intervals.level: input should be less than or equal to 0.99"),
        (SMALLEST + "window_tolerance_yd: .nan", "line 3: window_tolerance_yd: "),
        ("a: [", "study.yaml: isn't valid YAML near line 1; check indentation, quotes and colons."),
    ],
)
def test_wrong_configuration_is_told_in_a_sentence(study, text, sentence):
    rewritten(study, text)

    with pytest.raises(UserError, match=re.escape(sentence)):
        load_study(study)


@pytest.mark.parametrize("name", ["", ".hidden", "..", "-x", "_x", "a/b", "a b", "hill.", "h\u00fcgel", "hill\n"])
def test_a_name_that_is_no_folders_is_refused(study, name):
    rewritten(study, SMALLEST.replace("hill-school", json.dumps(name)))

    sentence = f"line 1: study: can't be {name!r}; use letters, digits, - _ and ., with a letter or digit first"
    with pytest.raises(UserError, match=re.escape(sentence)):
        load_study(study)


@pytest.mark.parametrize("name", ["README.md", "Readme.MD", "CON", "nul", "aux.2026", "Com1", "lpt9.x", "prn"])
def test_a_name_that_is_taken_is_refused(study, name):
    rewritten(study, SMALLEST.replace("hill-school", name))

    sentence = f"line 1: study: can't be {name!r}, a name that results/ or the system has taken; use another."
    with pytest.raises(UserError, match=re.escape(sentence)):
        load_study(study)


@pytest.mark.parametrize(
    "name", ["speed", "flight", "proving_ground", "pictures", "README", "console", "com10", "a.b", "7"]
)
def test_other_names_are_taken(study, name):
    rewritten(study, SMALLEST.replace("hill-school", json.dumps(name)))

    assert load_study(study)[1].study == name


def test_configuration_of_another_encoding_is_told(study):
    (study / "study.yaml").write_bytes((SMALLEST + "# gr\xfcn\n").encode("latin-1"))
    with pytest.raises(UserError, match=r"study\.yaml: its text isn't UTF-8; save it as UTF-8\.$"):
        load_study(study)

    (study / "study.yaml").write_bytes((SMALLEST + "# gr\xfcn\n").encode("utf-8-sig"))
    assert load_study(study)[1].study == "hill-school"


def test_every_wrong_key_is_told_at_once(study):
    rewritten(study, SMALLEST + "seeds: 3\nflag: {}\n")

    with pytest.raises(UserError) as caught:
        load_study(study)
    assert [line.split("'")[1] for line in str(caught.value).splitlines()] == ["seeds", "flag"]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("columns: {golfr: {from: x}}", "'golfr' isn't a standard column (did you mean 'golfer'?)"),
        (
            "columns: {spin_rpm: {from: x, unit: m/s}}",
            "'spin_rpm' can't have the unit 'm/s'; use one of 1/s, rad/s, rpm",
        ),
        ("columns: {golfer: {from: x, unit: m}}", "column 'golfer' can't have the unit 'm'; leave the unit out"),
        (
            "columns: {golfer: {from: x}, group: {from: x}}",
            "columns 'golfer' and 'group' both come from the header 'x'",
        ),
        ("columns: {golfer: {from: x}}\nencoding: utf-9", "encoding: isn't a known text encoding: 'utf-9'"),
        ("columns: {golfer: {from: x}}\ntimezone: Europe/Wien", "timezone: isn't an IANA time zone: 'Europe/Wien'"),
        ('columns: {golfer: {from: x}}\ndelimiter: "\u00a7"', "delimiter: can't be '\u00a7'; use one plain character"),
        ("columns: {golfer: {from: x}}\ndelimiter: '\"'", "delimiter: can't be '\"'; use one plain character"),
        ("columns: {golfer: {from: x}, group: {from: ' x'}}", "columns 'golfer' and 'group' both come from the header"),
        ("columns: {golfer: {from: ' '}}", "line 1: columns.golfer.from: names no header; write the log's own header."),
        ("columns: {golfer: {from: x, format: '%d.%m.%Y'}}", "column 'golfer' can't have a format; leave it out"),
        (
            "columns: {struck_at: {from: x, format: '%H:%M'}}",
            "the format '%H:%M', which doesn't hold year, month and day",
        ),
        ("columns: {struck_at: {from: x, format: '%d.%m.%Q'}}", "'%d.%m.%Q', which isn't a time format that can"),
        ("columns: {struck_at: {from: x, format: '%F %I:%M'}}", "'%F %I:%M', which isn't a time format that can"),
        ("columns:\n  golfer: {from: x}\n  golfer: {from: y}", "line 3: the key 'columns.golfer' is in line 2 too"),
        ("columns: {}", "layout.yaml: line 1: columns: "),
        ("", "layout.yaml: holds no keys; write at least 'columns:'."),
        ("columns: {struck_at: {from: x, format: '%z %H:%M'}}", "column 'struck_at' has %z inside its format"),
    ],
)
def test_wrong_layout_is_told_in_a_sentence(study, text, sentence):
    path = rewritten(study, text, "layout.yaml")

    with pytest.raises(UserError, match=re.escape(sentence)):
        load_layout(path, Layout)


def test_logs_are_listed_by_path_and_survive_json(study):
    _, configured = load_study(study)

    logs = find_logs(study, configured)

    assert [log.source for log in logs] == ["logs/a.csv", "logs/b.csv"]
    assert LogFile.model_validate(logs[0].model_dump(mode="json", by_alias=True)) == logs[0]


@pytest.mark.parametrize(
    ("logs", "sentence"),
    [
        ("[{files: none/*.csv}]", "logs[0].files: no file matches 'none/*.csv'"),
        ("[{files: ../*.csv}]", "logs[0].files: '../*.csv' leaves the study folder"),
        ("[{files: logs/*}, {files: logs/a.csv}]", "logs[1].files: logs/a.csv is matched by an earlier entry too"),
        ("[{files: study.yaml}]", "logs[0].files: study.yaml is none of .csv, .csv.gz, .parquet, .xlsx"),
        ("[{files: logs/*, layout: gone.yaml}]", "gone.yaml: there is no such file"),
    ],
)
def test_wrong_list_of_logs_is_told_in_a_sentence(study, logs, sentence):
    rewritten(study, f"study: a\nlogs: {logs}\n")
    _, configured = load_study(study)

    with pytest.raises(UserError, match=re.escape(sentence)):
        find_logs(study, configured)


def test_survey_goes_on_past_a_wrong_layout(study):
    rewritten(study, "study: a\nlogs: [{files: logs/a.csv, layout: gone.yaml}, {files: logs/b.csv}]\n")
    _, configured = load_study(study)

    logs, problems = survey_logs(study, configured)

    assert [log.source for log in logs] == ["logs/b.csv"]
    assert len(problems) == 1


def test_every_standard_column_of_a_log_can_be_mapped_and_converted():
    assert list(STANDARD_LAYOUT.columns) == list(LOG_COLUMNS)
    assert {name for name in LOG_COLUMNS if units_of(name)} == set(NUMBERS) - {"humidity"}
    for column in LOG_COLUMNS:
        for unit in units_of(column):
            assert (
                Layout.model_validate({"columns": {column: {"from": "x", "unit": unit}}}).columns[column].unit == unit
            )


def test_groups_are_masked_unless_the_study_says_plain(study):
    assert [log.group for log in find_logs(*load_study(study))] == ["masked", "masked"]

    rewritten(study, SMALLEST + "privacy: {group: plain}\n")
    assert [log.group for log in find_logs(*load_study(study))] == ["plain", "plain"]

    rewritten(study, SMALLEST + "privacy: {group: open}\n")
    with pytest.raises(UserError, match=r"privacy\.group: input should be 'masked' or 'plain', but it is 'open'"):
        load_study(study)


@pytest.mark.parametrize("sign", ["\x07", "\u202e", "\u200b"])
def test_a_log_with_control_characters_in_its_name_is_refused(study, sign):
    (study / "logs" / f"c{sign}.csv").write_text("x\n", encoding="utf-8")

    (problem,) = survey_logs(*load_study(study))[1]

    assert "has control characters in its name; rename the file." in problem
    assert sign not in problem


def test_a_band_of_a_goal_may_be_written_as_a_number(tmp_path):
    (tmp_path / "study.yaml").write_text(SMALLEST + "goals: {carry_yd: {90: 230}}\n", encoding="utf-8")
    _, study = load_study(tmp_path)
    assert study.goals.carry_yd == {90.0: 230.0}


def test_a_study_is_printed_by_its_title_and_else_by_its_name(study):
    assert load_study(study)[1].shown_name == "hill-school"
    rewritten(study, SMALLEST + "title: ' Hügel & School, 2nd ' \nunits: metres\n")
    configured = load_study(study)[1]
    assert (configured.study, configured.shown_name) == ("hill-school", "Hügel & School, 2nd")
    assert configured.units == "metres"


@pytest.mark.parametrize("title", ['" "', '"a\\nb"', '"a\\u202eb"'])
def test_a_title_that_cant_be_printed_on_a_line_is_refused(study, title):
    rewritten(study, SMALLEST + f"title: {title}")
    with pytest.raises(UserError, match="line 3: title: must be one line of text that can be printed"):
        load_study(study)


def test_units_are_yards_or_metres(study):
    assert load_study(study)[1].units == "yards"
    rewritten(study, SMALLEST + "units: meters")
    with pytest.raises(UserError, match=r"units: input should be 'yards' or 'metres', but it is 'meters' \(did you"):
        load_study(study)


@pytest.mark.parametrize(
    ("names", "sentence"),
    [
        (
            "[launch_deg]",
            "model.regressors: can't hold 'launch_deg', which the model of carry has anyway; leave it out.",
        ),
        ("[carry_yd]", "can't hold 'carry_yd', which the model of carry has anyway"),
        ("[site]", "can't hold 'site', which isn't a column of numbers; leave it out."),
        ("[golfer]", "can't hold 'golfer', which isn't a column of numbers"),
        ("[quarter]", "can't hold 'quarter', a name that Yardband has taken"),
        ("[speed_ratio]", "can't hold 'speed_ratio', a name that Yardband has taken"),
        ("[tee height]", "can't hold 'tee height'; use up to 60 letters, digits and _ with a letter first"),
        ("[temp_c, temp_c]", "names 'temp_c' twice."),
    ],
)
def test_a_column_that_cannot_be_a_regressor_is_refused(study, names, sentence):
    rewritten(study, SMALLEST + f"model: {{regressors: {names}}}\n")
    with pytest.raises(UserError, match=re.escape(sentence)):
        load_study(study)


def test_a_layout_may_map_the_studys_own_regressors_and_no_other_column(study):
    columns = "\n".join(f"  {name}: {{from: {name}}}" for name in ("golfer", "struck_at"))
    rewritten(study, f"columns:\n{columns}\n  tee_mm: {{from: Tee mm}}\n", "layout.yaml")
    own = "study: hill-school\nlogs: [{files: logs/*.csv, layout: layout.yaml}]\n"
    rewritten(study, own + "model: {regressors: [temp_c, tee_mm]}\n")
    logs = find_logs(*load_study(study))
    assert [log.regressors for log in logs] == [("tee_mm",)] * 2
    assert logs[0].layout.columns["tee_mm"].source == "Tee mm"
    rewritten(study, own)
    with pytest.raises(UserError, match="'tee_mm' isn't a standard column"):
        find_logs(*load_study(study))


@pytest.mark.parametrize("part", ["unit: mm", "format: '%d'"])
def test_a_regressor_of_a_layout_has_neither_unit_nor_format(study, part):
    rewritten(study, f"columns:\n  tee_mm: {{from: Tee mm, {part}}}\n", "layout.yaml")
    with pytest.raises(UserError, match="column 'tee_mm' can't have"):
        load_layout(study / "layout.yaml", Layout, ["tee_mm"])
