"""Logs without launch and spin: when they are results by hand, and when they are a log that lacks columns."""

import pytest
from click.testing import CliRunner

from pipeline.cli import cli
from pipeline.collect.key import make_key
from pipeline.collect.read import marked_by_hand
from pipeline.collect.without_flight import headers_are_by_hand, looks_like_flight
from pipeline.configuration.load import load_study
from pipeline.configuration.log_files import find_logs

HAND = "golfer,struck_at,club_speed_mph,carry_yd\n"
FULL = "golfer,struck_at,club_speed_mph,launch_deg,spin_rpm,carry_yd\n"


@pytest.fixture
def study(tmp_path):
    """Give a function that writes a study of logs by name, all under one entry each."""

    def write(layout=None, **logs):
        folder = tmp_path / "hill"
        (folder / "logs").mkdir(parents=True)
        more = "" if layout is None else ", layout: layout.yaml"
        entries = "".join(f'  - {{files: "logs/{name}*.csv"{more}}}\n' for name in logs)
        (folder / "study.yaml").write_text(f"study: hill\nlogs:\n{entries}", encoding="utf-8")
        for name, text in logs.items():
            (folder / f"logs/{name}.csv").write_text(text, encoding="utf-8")
        if layout is not None:
            (folder / "layout.yaml").write_text(layout, encoding="utf-8")
        make_key(folder / "private/pseudonym.key")
        return folder

    return write


def check(folder):
    return CliRunner().invoke(cli, ["check", str(folder)])


def by_hand(folder):
    found = marked_by_hand(*(lambda where, study: (where, find_logs(where, study)))(*load_study(folder)))
    return [log.by_hand for log in found]


def test_a_log_of_speed_and_carry_with_days_alone_can_be_used(study):
    rows = "Ann Oak,2026-08-14,95,220\nAnn Oak,2026-08-14,95,220\nBo Elm,2026-08-14,88,8\nCy,2026-08-14,,200\n"
    folder = study(a=HAND + rows)
    done = check(folder)
    assert by_hand(folder) == [True]
    assert done.exit_code == 0
    # A topped drive stays: nothing says that it was launched well.
    assert "logs/a.csv: 4 rows read, 3 accepted, 1 rejected." in done.output
    assert "  1 x missing in club_speed_mph" in done.output


def test_beside_full_logs_it_is_refused_with_what_to_do(study):
    folder = study(a=HAND + "Ann Oak,2026-08-14,95,220\n", b=FULL + "Ann Oak,2026-08-14T10:00:00,95,12,2600,220\n")
    done = check(folder)
    assert by_hand(folder) == [False, False]
    assert done.exit_code == 2
    assert "logs/a.csv: can't be used, it has neither launch nor spin, as results by hand" in done.output
    assert "put it into a study of its own." in done.output


def test_a_full_log_among_results_by_hand_is_refused(study):
    folder = study(a=HAND + "Ann Oak,2026-08-14,95,220\n")
    (folder / "logs/a2.csv").write_text(FULL + "Ann Oak,2026-08-14T10:00:00,95,12,2600,220\n", encoding="utf-8")
    done = check(folder)
    assert by_hand(folder) == [True, True]
    assert done.exit_code == 2
    assert "logs/a2.csv: can't be used, it has launch_deg and spin_rpm, and the study's first logs" in done.output


@pytest.mark.parametrize("lacks", ["launch_deg", "spin_rpm"])
def test_a_log_that_lacks_one_of_the_two_is_refused_as_before(study, lacks):
    folder = study(a=FULL.replace(f"{lacks},", "") + "Ann Oak,2026-08-14T10:00:00,95,12,220\n")
    done = check(folder)
    assert done.exit_code == 2
    assert f"it lacks the required column '{lacks}'" in done.output


def test_launch_and_spin_under_other_words_are_no_results_by_hand(study):
    folder = study(a="golfer,struck_at,club_speed_mph,Abflugwinkel,Drall,carry_yd\nAnn,2026-08-14,95,12,2600,220\n")
    assert by_hand(folder) == [False]
    assert "it lacks the required column 'launch_deg'" in check(folder).output


def test_a_layout_without_launch_and_spin_takes_no_log_that_has_them(study):
    layout = "columns:\n" + "".join(
        f"  {name}: {{from: {name}}}\n" for name in ("golfer", "struck_at", "club_speed_mph", "carry_yd")
    )
    folder = study(layout, a="golfer,struck_at,club_speed_mph,Abflug,carry_yd\nAnn,2026-08-14,95,12,220\n")
    done = check(folder)
    assert done.exit_code == 2
    assert "its column 'Abflug' looks like launch or spin, and nothing takes it" in done.output


def test_units_far_off_are_told(study):
    rows = "".join(f"Ann Oak,2026-08-14,{150 + i},{215 + i}\n" for i in range(-10, 15))
    told = check(study(a=HAND + rows)).output
    assert "its drives carry 1.43 yd for each mph of club speed, and academies' usually 1.5 to 2.8" in told


@pytest.mark.parametrize(("header", "is_flight"), [
    ("launch_deg", True), ("Spin (rpm)", True), ("Abflugwinkel", True), ("Rückdrall 1/s", True), ("carry_yd", False),
    ("Name", False), ("Flugweite m", False),
])  # fmt: skip
def test_headers_that_speak_of_launch_or_spin(header, is_flight):
    assert looks_like_flight(header) is is_flight


def test_all_four_columns_are_needed():
    assert headers_are_by_hand([" golfer ", "struck_at", "club_speed_mph", "carry_yd", "age"])
    assert not headers_are_by_hand(["golfer", "club_speed_mph", "carry_yd"])
