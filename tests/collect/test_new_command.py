"""`yardband new`: from logs to a study that can be run, and what it says where it can't know."""

from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner
from collect_samples import HEADER, written
from drafting.ten_logs import DRIVES_EACH, NAMES, make_logs

from pipeline.cli import cli
from pipeline.collect.check_command import survey
from pipeline.collect.clean_log import clean_log
from pipeline.collect.new_command import new_study
from pipeline.collect.read import open_log
from pipeline.configuration.load import load_study
from pipeline.configuration.log_files import find_logs
from pipeline.errors import UserError

DRIVES = len(NAMES) * DRIVES_EACH
GERMAN = "Spieler;Datum;Schlägertempo (mph);Balltempo (mph);Abflug;Drall;Flugweite (yd)\n"
UNNAMED = "Name,Date,Club speed,Ball speed,Launch,Spin,Carry"
EUROPEAN = "{day:02}/08/2026 10:{minute:02}"


def yardband(*arguments):
    return CliRunner().invoke(cli, [str(argument) for argument in arguments])


def rows(count=40, *, form="2026-08-{day:02}T10:{minute:02}:00", speed=95.0, carry=225.0):
    """Write plain drives, readings a little apart from each other."""
    made = []
    for i in range(count):
        at = form.format(day=i % 28 + 1, minute=i)
        part = 1 + 0.01 * (i % 7 - 3)
        ratio = 1.45 + 0.01 * (i % 5 - 2)
        made.append(
            f"{['Ann Oak', 'Bo Elm'][i % 2]},{at},{speed * part:.1f},{speed * part * ratio:.1f},"
            f"{12 + i % 4},{2500 + 10 * i},{carry * part:.1f}"
        )
    return made


def log(*lines, header=HEADER):
    return "\n".join([header, *lines]) + "\n"


class Answers:
    """A person who gives prepared answers and keeps the questions."""

    def __init__(self, choices=(), texts=()):
        self.choices, self.texts, self.asked = list(choices), list(texts), []

    def choose(self, question, options):
        self.asked.append((question, list(options)))
        return self.choices.pop(0) if self.choices else None

    def say(self, question, problem):
        self.asked.append((question, []))
        text = self.texts.pop(0) if self.texts else None
        assert text is None or problem(text) is None
        return text


def test_ten_differently_shaped_logs_need_no_editor(tmp_path):
    others = make_logs(tmp_path / "hill" / "logs")
    result = yardband("new", tmp_path / "hill", tmp_path / "hill" / "logs", "--yes")
    assert (result.exit_code, result.stderr) == (0, ""), result.output
    assert "not sure" not in result.stdout
    assert "hill: no problem found; logs that can be used: 10." in result.stdout
    assert "look again" not in result.stdout.lower()
    folder, study = load_study(tmp_path / "hill")
    found = find_logs(folder, study)
    assert {Path(each.source).name for each in found} == set(others)
    for each in found:
        with open_log(folder / each.source, each.layout) as opened:
            receipt = clean_log(opened, each, bytes(32), lambda _: None).receipt
        name = Path(each.source).name
        assert (receipt.rows, receipt.accepted, receipt.left_out) == (DRIVES, DRIVES, others[name]), name


def test_a_standard_log_needs_no_layout_and_stays_as_it_is(tmp_path):
    path = written(tmp_path / "hill" / "a.csv", log(*rows()))
    before = path.read_bytes()
    result = yardband("new", tmp_path / "hill", path, "--yes")
    assert result.exit_code == 0, result.output
    assert path.read_bytes() == before
    assert not (tmp_path / "hill" / "layouts").exists()
    assert (tmp_path / "hill" / "private" / "pseudonym.key").stat().st_mode & 0o777 == 0o600
    assert load_study(tmp_path / "hill")[1].logs[0].files == "a.csv"


def test_logs_of_one_shape_share_a_layout_and_a_pattern_that_takes_the_next_quarter(tmp_path):
    hill = tmp_path / "hill"
    for quarter in (1, 2):
        lines = "".join(f"{row}\n" for row in rows(form=f"{{day:02}}.0{quarter}.2026 10:{{minute:02}}"))
        written(hill / "logs" / f"bay_2026q{quarter}.csv", GERMAN + lines.replace(",", ";"))
    written(hill / "logs" / "plain.csv", log(*rows()))
    result = yardband("new", hill, *sorted((hill / "logs").iterdir()), "--yes")
    assert result.exit_code == 0, result.output
    study = load_study(hill)[1]
    assert [(entry.files, entry.layout) for entry in study.logs] == [
        ("logs/bay_*.csv", "layouts/bay.yaml"), ("logs/plain.csv", None),
    ]  # fmt: skip


def test_what_is_not_sure_is_left_as_comments_and_told(tmp_path):
    text = log(
        *rows(28, form="{day:02}/08/2026 10:{minute:02}"), header="Name,Date,Club speed,Ball speed,Launch,Spin,Carry"
    )
    hill = tmp_path / "hill"
    result = yardband("new", hill, written(hill / "bay.csv", text), "--yes")
    assert result.exit_code == 2
    told = f"{hill}/layouts/bay.yaml: choose where carry_yd comes from; its unit isn't named, and may be yd or m."
    assert result.stderr == f"{told}\n"
    layout = (hill / "layouts" / "bay.yaml").read_text(encoding="utf-8")
    assert '  # carry_yd: {from: "Carry", unit: "yd"}\n  # carry_yd: {from: "Carry", unit: "m"}\n' in layout
    # A person takes one # away, and the study is ready.
    layout = layout.replace('# carry_yd: {from: "Carry", unit: "yd"}', 'carry_yd: {from: "Carry", unit: "yd"}')
    (hill / "layouts" / "bay.yaml").write_text(layout, encoding="utf-8")
    assert survey(hill).problems == []


def test_a_day_that_may_be_a_month_is_never_guessed(tmp_path):
    hill = tmp_path / "hill"
    # Sorted by golfer, so that no order of days tells.
    days = [
        row.replace("/08/2026", f"/{month:02}/2025")
        for month in (3, 1, 2)
        for row in rows(12, form="{day:02}/08/2026 10:{minute:02}")
    ]
    result = yardband("new", hill, written(hill / "bay.csv", log(*days)), "--yes")
    assert "choose where struck_at comes from; it isn't clear which is the day and which the month" in result.stderr
    assert '# struck_at: {from: "struck_at", format: "%m/%d/%Y %H:%M"}' in (hill / "layouts" / "bay.yaml").read_text()


def test_a_person_is_asked_and_answers(tmp_path):
    hill = tmp_path / "hill"
    text = log(
        *rows(28, form="{day:02}/08/2026 10:{minute:02}"), header="Name,Date,Club speed,Ball speed,Launch,Spin,Carry"
    )
    written(hill / "bay.csv", text)
    person = Answers(choices=[1], texts=["Europe/Vienna", "juniors", "Hill School", "90: 230, 100: 250"])
    assert new_study(hill, [hill / "bay.csv"], person, lambda _: None) == []
    question, options = person.asked[0]
    assert question == "bay.csv: where does carry_yd come from? Its unit isn't named, and may be yd or m."
    assert options == ["'Carry', yd", "'Carry', m"]
    folder, study = load_study(hill)
    [found] = find_logs(folder, study)
    assert (found.layout.columns["carry_yd"].unit, found.layout.timezone) == ("m", "Europe/Vienna")
    assert (study.title, study.logs[0].group, study.goals.carry_yd) == ("Hill School", "juniors", {90: 230, 100: 250})


def test_a_club_that_no_word_says_is_the_driver_blocks_the_run(tmp_path):
    hill = tmp_path / "hill"
    text = log(*(f"{row},{'AB'[i % 2]}" for i, row in enumerate(rows())), header=f"{HEADER},Club")
    result = yardband("new", hill, written(hill / "bay.csv", text), "--yes")
    assert result.exit_code == 2
    assert "say which word in 'Club' is the driver, under 'rows'" in result.stderr
    person = Answers(choices=[0])
    (hill / "study.yaml").unlink()
    new_study(hill, [hill / "bay.csv"], person, lambda _: None)
    assert person.asked[0] == ("bay.csv: which word in 'Club' is the driver?", ["A", "B"])
    [found] = find_logs(*load_study(hill))
    assert (found.layout.rows.column, found.layout.rows.take) == ("Club", ("A",))


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("a.csv", "", "a.csv: can't be used, the file is empty; export it again."),
        ("a.csv.gz", b"\x1f\x8b", "a.csv.gz: can't be used, "),
        ("a.xlsx", b"PK", "a.xlsx: can't be used, it is damaged, protected or not an xlsx workbook"),
        ("a.parquet", b"PAR1", "a.parquet: can't be used, it is damaged"),
        ("a.csv", "dear sir,\nall is well\n", "a.csv: no table of drives was found in it; it needs a line of headers"),
        ("a.csv", b"\0\1\2\0" * 900, "a.csv: no table of drives was found in it"),
        ("a.txt", "x", "a.txt: it is none of .csv, .csv.gz, .parquet, .xlsx; convert it or leave it out."),
    ],
)
def test_a_log_that_cannot_be_used_ends_in_one_sentence(tmp_path, name, content, told):
    path = tmp_path / "hill" / name
    path.parent.mkdir()
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    result = yardband("new", tmp_path / "hill", path, "--yes")
    assert (result.exit_code, result.stdout) == (2, "")
    assert told in result.stderr
    assert len(result.stderr.splitlines()) == 1
    assert [each.name for each in (tmp_path / "hill").iterdir()] == [name]  # nothing is half made


def test_where_logs_and_studies_must_be(tmp_path):
    outside = written(tmp_path / "a.csv", log(*rows()))
    (tmp_path / "hill").mkdir()
    told = "it lies outside .*hill, and a study reads only what is inside; move it to .*logs"
    with pytest.raises(UserError, match=told):
        new_study(tmp_path / "hill", [outside], None, print)
    inside = written(tmp_path / "hill" / "a.csv", log(*rows()))
    with pytest.raises(UserError, match="there is no such log; correct the path"):
        new_study(tmp_path / "hill", [tmp_path / "hill" / "b.csv"], None, print)
    assert new_study(tmp_path / "hill", [inside], None, lambda _: None) == []
    with pytest.raises(UserError, match="there is a study already, and it stays; name another folder"):
        new_study(tmp_path / "hill", [inside], None, print)


def test_a_word_that_may_be_the_driver_is_asked_for_and_blocks_the_run(tmp_path):
    hill = tmp_path / "hill"
    text = log(*(f"{row},{('Driver', 'D', '7i')[i % 3]}" for i, row in enumerate(rows())), header=f"{HEADER},Club")
    path = written(hill / "bay.csv", text)
    result = yardband("new", hill, path, "--yes")
    assert result.exit_code == 2
    assert "say whether 'D' in 'Club' is the driver too, under 'rows'." in result.stderr
    assert result.stdout.endswith(f"Then type: yardband check {hill}\n")
    for answers, taken in (([0], ("Driver", "D")), ([1], ("Driver",))):
        (hill / "study.yaml").unlink()
        person = Answers(choices=answers)
        told = []
        assert new_study(hill, [path], person, told.append) == []
        assert person.asked[0] == ("bay.csv: is 'D' in 'Club' the driver too?", ["yes", "no"])
        [found] = find_logs(*load_study(hill))
        assert found.layout.rows.take == taken
        assert told[-1] == f"Next, type: yardband run {hill}"


def test_a_log_in_parts_is_read_as_a_whole_one(tmp_path):
    parts = []
    for row in rows():
        name, at, numbers = row.split(",", 2)
        parts.append(",".join([*name.split(), *at.split("T"), numbers]))
    header = "First name,Last name,Date,Time,Club speed (mph),Ball speed (mph),Launch,Spin,Carry (yd)"
    hill = tmp_path / "hill"
    result = yardband("new", hill, written(hill / "bay.csv", log(*parts, header=header)), "--yes")
    assert (result.exit_code, result.stderr) == (0, ""), result.output
    assert "columns not used" not in result.stdout
    whole = yardband("new", tmp_path / "dale", written(tmp_path / "dale" / "bay.csv", log(*rows())), "--yes")
    assert whole.exit_code == 0
    pairs = []
    for study in (hill, tmp_path / "dale"):
        [found] = find_logs(*load_study(study))
        with open_log(study / found.source, found.layout) as opened:
            kept = []
            cleaned = clean_log(opened, found, bytes(32), kept.append)
            pairs.append((cleaned.golfers, pl.concat([piece.accepted for piece in kept])))
    assert pairs[0][0] == pairs[1][0]
    assert pairs[0][1].equals(pairs[1][1])


def test_a_key_that_is_there_is_used(tmp_path):
    path = written(tmp_path / "hill" / "a.csv", log(*rows()))
    assert new_study(tmp_path / "hill", [path], None, lambda _: None) == []
    key = (tmp_path / "hill" / "private" / "pseudonym.key").read_bytes()
    (tmp_path / "hill" / "study.yaml").unlink()
    told = []
    assert new_study(tmp_path / "hill", [path], None, told.append) == []
    assert (tmp_path / "hill" / "private" / "pseudonym.key").read_bytes() == key
    assert any("the key that is there is used" in line for line in told)
