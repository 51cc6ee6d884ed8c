import pytest
from click.testing import CliRunner
from collect_samples import HEADER, ROW, changed, csv_text, key_file, written

from pipeline.cli import cli
from pipeline.collect import check_command, check_together_command

TEXTS = f"{HEADER},device,remark"


@pytest.fixture
def study(tmp_path):
    folder = tmp_path / "hill"
    written(folder / "study.yaml", "study: hill-school\nlogs:\n  - {files: logs/*, site: elm}\n")
    (folder / "private").mkdir()
    key_file(folder / "private")
    return folder


def drives(count, **cells):
    return [changed(struck_at=f"2026-08-03T10:00:{second:02d}", **cells) for second in range(count)]


LOGS = {
    "a.csv": csv_text(f"{ROW},unit-A,x", f"{ROW},bay of Ann,x", header=TEXTS),
    "b.csv": csv_text(f"{changed(golfer='Bo Elm')},unit-A,x", f"{changed(carry_yd='x')},unit-A,x", header=TEXTS),
    "c.csv": csv_text(*(f"{row},unit-A,x" for row in drives(30, carry_yd="206")), header=TEXTS),
    "d.csv": csv_text(*(f"{row},unit-A,x" for row in drives(9, spin_rpm="12", launch_deg="25")), header=TEXTS),
    "e.csv": csv_text(ROW, changed(spin_rpm="1")),
    "f.csv": csv_text(f'"{ROW}"'),
    "g.csv": csv_text(f"{ROW},unit-A", header=TEXTS),
    "h.csv": csv_text(*(f"{row},unit-A,x" for row in drives(25, carry_yd="x")), header=TEXTS).replace("\n", "\r\n"),
    "i.csv": csv_text(",,,,,,,,", f"{ROW},unit-A,x", header=TEXTS),
    "oak_ann.csv": csv_text(ROW),
    "k.csv": csv_text(ROW, header=HEADER.replace("carry_yd", "x")),
    "l.csv": f"{HEADER}\n",
    "m.csv": "",
    "n.csv.gz": csv_text(ROW),
}  # fmt: skip


def said(study):
    findings = check_command.survey(study)
    return findings.told, findings.problems, dict(findings.standard)


def test_logs_checked_together_are_what_they_are_alone(study, monkeypatch):
    for name, text in LOGS.items():
        written(study / "logs" / name, text)

    together = said(study)
    taken = [set(group) for group in check_together_command.check_together(*_of(study))]
    monkeypatch.setattr(check_command, "check_together", lambda *_: [])
    alone = said(study)

    assert set().union(*taken) == {
        f"logs/{name}" for name in ("a.csv", "b.csv", "c.csv", "d.csv", "e.csv", "h.csv", "i.csv", "oak_ann.csv")
    }
    assert together == alone
    assert any("look like" in line or "looks like" in line for line in together[0])
    told = (
        "logs/a.csv: 2 rows read, 2 accepted, 0 rejected; columns not used: remark; cells withheld, as they hold a "
        "golfer's name: 1 in device."
    )
    assert told in together[0]


def _of(study):
    from pipeline.configuration.load import load_study
    from pipeline.configuration.log_files import find_logs

    folder, configured = load_study(study)
    return folder, find_logs(folder, configured), bytes(32)


def test_a_log_that_joins_two_headers_is_refused_alone_and_not_its_group(study):
    turned = ",".join([*HEADER.split(",")[1:], HEADER.split(",")[0]])
    written(study / "logs" / "a.csv", csv_text(ROW))
    written(study / "logs" / "b.csv", csv_text(ROW, turned))

    told, problems, _ = said(study)

    assert told == ["logs/a.csv: 1 rows read, 1 accepted, 0 rejected."]
    assert len(problems) == 1
    assert "b.csv: can't be used, a second header inside it" in problems[0]


def test_golfers_who_look_alike_are_told(study):
    written(study / "logs" / "a.csv", csv_text(ROW))
    written(study / "logs" / "b.csv", csv_text(changed(golfer="Oak Ann")))
    written(study / "logs" / "c.csv", csv_text(changed(golfer='"Oak, Ann"')))

    told, problems, _ = said(study)

    assert problems == []
    assert [line.split(": ")[0] for line in told if "looks like that of" in line] == ["logs/b.csv", "logs/c.csv"]


def test_a_check_of_many_logs_is_quick_and_tells_how_far_it_is(study, monkeypatch):
    calls = []
    monkeypatch.setattr(check_together_command, "standardise", _counting(check_together_command.standardise, calls))
    for number in range(600):
        written(study / "logs" / f"{number}.csv", csv_text(ROW, changed(golfer=f"Golfer {number}")))

    result = CliRunner().invoke(cli, ["check", str(study)])

    assert result.exit_code == 0
    assert result.stderr == "600 of 600 logs checked ...\n"
    assert len(result.stdout.splitlines()) == 601
    assert len(calls) == 1  # once for all 600 logs, which takes as long as for one


def _counting(called, calls):
    def call(*arguments, **named):
        calls.append(1)
        return called(*arguments, **named)

    return call
