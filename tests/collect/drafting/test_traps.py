"""What a draft must not fall for, one trap a test."""

from datetime import date

import numpy as np
import pytest
import yaml

from pipeline.collect.drafting.draft import draft_layout
from pipeline.collect.drafting.draft_text import layout_text
from pipeline.collect.drafting.lexicon import read_header
from pipeline.collect.drafting.shape import decoded, shape_of_text

HEAD = ["Golfer", "Time", "Club speed (mph)", "Ball speed (mph)", "Launch (deg)", "Spin (rpm)", "Carry (yd)"]


def columns(n=60):
    rng = np.random.default_rng(3)
    club = rng.normal(95, 5, n)
    ball = club * rng.normal(1.45, 0.02, n)
    numbers = [club, ball, rng.normal(13, 2, n), rng.normal(2700, 300, n), 1.62 * ball]
    who = [["Ann Oak", "Bo Elm", "Cy Ash"][i % 3] for i in range(n)]
    at = [f"2026-08-{i % 28 + 1:02}T10:{i:02}:00" for i in range(n)]
    return [who, at, *([f"{one:.1f}" for one in column] for column in numbers)]


def drafted(cells, head=HEAD, delimiter=";"):
    quoted = [f'"{name}"' if "\n" in name else name for name in head]
    lines = [delimiter.join(row) for row in (quoted, *zip(*cells, strict=True))]
    shape = shape_of_text(("\n".join(lines) + "\n").encode())
    assert shape is not None
    return draft_layout(shape, date(2026, 11, 20))


def sure(draft):
    return {name for name, choice in draft.columns.items() if choice.sure}


def test_without_a_trap_all_is_sure():
    draft = drafted(columns())
    assert len(sure(draft)) == len(HEAD)
    assert draft.notes == ()


def test_launch_and_spin_under_each_others_headers_are_not_sure():
    cells = columns()
    cells[4], cells[5] = cells[5], cells[4]
    assert not sure(drafted(cells)) & {"launch_deg", "spin_rpm"}


def test_ball_speed_that_is_club_speed_in_another_unit_is_not_sure():
    cells = columns()
    cells[3] = [f"{float(one) * 1.609:.1f}" for one in cells[2]]
    assert "ball_speed_mph" not in sure(drafted(cells))
    # Nor is it found by its values where its header says nothing.
    head = [*HEAD[:3], "x1", *HEAD[4:]]
    cells[3] = [f"{float(one) * 1.467:.1f}" for one in cells[2]]
    assert "ball_speed_mph" not in drafted(cells, head).columns


def test_units_that_contradict_flight_are_not_sure():
    head = [*HEAD[:2], "Club speed (km/h)", "Ball speed (km/h)", *HEAD[4:]]
    assert not sure(drafted(columns(), head)) & {"club_speed_mph", "ball_speed_mph", "carry_yd"}


@pytest.mark.parametrize("share", [0.85, 0.95, 1.05, 1.15, 1.25])
def test_flight_never_tells_meters_from_yards(share):
    cells = columns()
    cells[6] = [f"{float(one) * share:.1f}" for one in cells[6]]  # balls and air that carry short or long
    draft = drafted(cells, [*HEAD[:6], "Carry"])
    assert {place.unit for place in draft.columns["carry_yd"].options} >= {"yd", "m"}
    assert "carry_yd" not in sure(draft)


def test_marks_between_thousands_are_found():
    cells = columns()
    cells[5] = [f"{int(float(one)):,}" for one in cells[5]]
    draft = drafted(cells)
    assert "spin_rpm" in sure(draft)
    assert draft.raw_layout()["thousands"] == ","
    # Where no number has a decimal for certain, spin tells.
    whole = [[one.split(".")[0] for one in column] if place > 1 else column for place, column in enumerate(cells)]
    whole[5] = [one.replace(",", ".") for one in cells[5]]
    assert drafted(whole).raw_layout()["thousands"] == "."


def test_numbers_whose_marks_differ_are_told_and_not_taken():
    cells = columns()
    cells[5] = [one.replace(".", ",") for one in cells[5]]
    draft = drafted(cells)
    assert "spin_rpm" not in sure(draft)
    assert any("'Spin (rpm)' can't be read" in note for note in draft.notes)


def test_units_behind_numbers_are_taken_for_the_columns():
    cells = columns()
    cells[2], cells[6] = ([f"{one} {unit}" for one in cells[place]] for place, unit in ((2, "mph"), (6, "yds")))
    head = ["Golfer", "Time", "Club speed", *HEAD[3:6], "Carry"]
    draft = drafted(cells, head)
    assert len(sure(draft)) == len(HEAD)
    cells[6] = [one.replace("yds", "m") if i % 2 else one for i, one in enumerate(cells[6])]
    assert "carry_yd" not in sure(drafted(cells, head))


def test_times_as_counts_since_1970_are_found():
    cells = columns()
    cells[1] = [str(1785751200 + 60 * i) for i in range(60)]
    draft = drafted(cells)
    assert draft.raw_layout()["columns"]["struck_at"]["format"] == "epoch"
    assert draft.zone_open
    cells[1] = [f"{one}000" for one in cells[1]]
    assert drafted(cells).raw_layout()["columns"]["struck_at"]["format"] == "epoch_ms"


def test_backspin_is_told_from_total_spin():
    cells = columns()
    total = [f"{float(one) + i % 40:.0f}" for i, one in enumerate(cells[5])]
    draft = drafted([*cells, total], [*HEAD, "Total spin"])
    assert draft.raw_layout()["columns"]["spin_rpm"]["from"] == "Spin (rpm)"
    less = [f"{float(one) - 50:.0f}" for one in cells[5]]
    assert "spin_rpm" not in sure(drafted([*cells, less], [*HEAD, "Total spin"]))


def test_day_and_time_of_day_in_two_columns_are_put_together():
    cells = columns()
    days, clocks = zip(*(at.split("T") for at in cells[1]), strict=True)
    draft = drafted([cells[0], list(days), *cells[2:], list(clocks)], [HEAD[0], "Date", *HEAD[2:], "Time"])
    assert draft.join == {"Date Time": ("Date", "Time")}
    assert [place.source for place in draft.columns["struck_at"].options] == ["Date Time"]
    assert "struck_at" in sure(draft)
    assert 'join: {"Date Time": ["Date", "Time"]}' in layout_text(draft, ["a.csv"])


def test_day_and_time_of_day_of_a_workbook_are_told_and_not_taken():
    cells = columns()
    days, clocks = zip(*(at.split("T") for at in cells[1]), strict=True)
    written = [[f"{day} 00:00:00" for day in days], [f"1899-12-31 {clock}" for clock in clocks]]
    draft = drafted([cells[0], written[0], *cells[2:], written[1]], [HEAD[0], "Date", *HEAD[2:], "Time"])
    assert draft.join == {}
    assert "struck_at" not in draft.columns
    assert "Day and time of day stand in two columns: put 'Time' and 'Date' into one column." in draft.notes
    # Alone, the days say that they are days.
    alone = drafted([cells[0], written[0], *cells[2:]], [HEAD[0], "Date", *HEAD[2:]])
    assert "Its times have the day alone, so only one drive a day of each golfer counts." in alone.notes


def test_two_times_of_day_beside_a_day_are_told_and_not_taken():
    cells = columns()
    days, clocks = (list(one) for one in zip(*(at.split("T") for at in cells[1]), strict=True))
    head = [HEAD[0], "Date", *HEAD[2:], "Time", "Shot time"]
    draft = drafted([cells[0], days, *cells[2:], clocks, clocks], head)
    assert "struck_at" not in draft.columns
    assert any("Day and time of day stand in two columns" in note for note in draft.notes)


@pytest.mark.parametrize(
    ("head", "joined"),
    [
        (("First name", "Last name"), ("First name", "Last name")), (("Nachname", "Vorname"), ("Vorname", "Nachname")),
        (("Prénom", "Nom"), ("Prénom", "Nom")), (("Nom", "Prénom"), ("Prénom", "Nom")),
        (("Nombre", "Apellidos"), ("Nombre", "Apellidos")), (("Nome", "Cognome"), ("Nome", "Cognome")),
        (("Imię", "Nazwisko"), ("Imię", "Nazwisko")),
    ],
)  # fmt: skip
def test_a_name_in_two_columns_is_put_together(head, joined):
    cells = columns()
    first, last = (list(one) for one in zip(*(name.split() for name in cells[0]), strict=True))
    by_header = {joined[0]: first, joined[1]: last}
    draft = drafted([*(by_header[one] for one in head), *cells[1:]], [*head, *HEAD[1:]])
    assert draft.join == {" ".join(joined): joined}
    assert "golfer" in sure(draft)


def test_a_whole_name_beside_a_first_name_stays_alone():
    cells = columns()
    draft = drafted([[name.split()[0] for name in cells[0]], *cells], ["First name", "Name", *HEAD[1:]])
    assert draft.join == {}
    assert draft.columns["golfer"].options[0].source == "Name"


def test_half_a_name_is_told_and_not_taken():
    cells = columns()
    cells[0] = [name.split()[0] for name in cells[0]]
    draft = drafted(cells, ["First name", *HEAD[1:]])
    assert "golfer" not in draft.columns
    assert "Only part of a golfer's name was found ('First name')." in draft.notes


def test_clubs_under_an_unknown_header_are_found_by_one_known_club():
    cells = columns()
    clubs = [("Primus", "Secundus", "PW")[i % 3] for i in range(len(cells[0]))]
    draft = drafted([*cells, clubs], [*HEAD, "Zzz"])
    assert draft.rows is not None
    assert (draft.rows.column, draft.rows.take, draft.rows.doubtful) == ("Zzz", (), ("Primus", "Secundus"))
    # A remark isn't asked about.
    assert drafted([*cells, clubs], [*HEAD, "Remark"]).rows is None


@pytest.mark.parametrize(
    ("words", "taken", "doubtful"),
    [
        (("Driver", "7 Iron"), ("Driver",), ()), (("Driver 10.5", "PW", "3 Wood"), ("Driver 10.5",), ()),
        (("Driver (9°)", "driver", "60°"), ("Driver (9°)", "driver"), ()),
        (("Drewno 1", "Żelazo 7"), ("Drewno 1",), ()),
        (("ドライバー", "7番アイアン"), ("ドライバー",), ()),
        (("1 Wood", "Mini Driver"), ("1 Wood",), ("Mini Driver",)),
        (("Driver", "D", "7i"), ("Driver",), ("D",)), (("D", "7i"), (), ("D",)), (("7i", "PW"), (), ("7i", "PW")),
    ],
)  # fmt: skip
def test_no_drivers_rows_are_left_out_in_silence(words, taken, doubtful):
    cells = columns()
    draft = drafted([*cells, [words[i % len(words)] for i in range(len(cells[0]))]], [*HEAD, "Club"])
    assert draft.rows is not None
    assert (draft.rows.take, draft.rows.doubtful) == (taken, doubtful)
    assert draft.rows.sure == (bool(taken) and not doubtful)
    shown = ", ".join(f'"{word}"' for word in taken) if draft.rows.sure else ""
    assert f'rows: {{column: "Club", take: [{shown}]}}' in layout_text(draft, ["a.csv"])


def test_two_columns_of_people_or_times_are_not_sure():
    cells = columns()
    draft = drafted([*cells, cells[0], cells[1]], [*HEAD, "Student", "Shot time"])
    assert not sure(draft) & {"golfer", "struck_at"}
    assert [place.source for place in draft.columns["golfer"].options] == ["Golfer", "Student"]


def test_a_number_of_each_shot_names_no_golfer():
    cells = columns()
    cells[0] = [f"s{i}" for i in range(len(cells[0]))]
    assert "golfer" not in sure(drafted(cells))


def test_humidity_in_percent_is_told_and_not_taken():
    cells = columns()
    draft = drafted([*cells, ["55"] * len(cells[0])], [*HEAD, "Humidity (%)"])
    assert "humidity" not in draft.columns
    assert any("humidity is in percent" in note for note in draft.notes)


def test_repeated_headers_are_told_and_not_taken():
    cells = columns()
    draft = drafted([*cells, cells[6]], [*HEAD, HEAD[6]])
    assert "carry_yd" not in draft.columns
    assert "Headers that are there more than once can't be used: 'Carry (yd)'." in draft.notes


@pytest.mark.parametrize("header", ["Carry\n  evil: {from: x}", "Carry\u2028rows: 3", 'Carry" # no', "Carry: {a}"])
def test_no_header_writes_into_a_layout(header):
    draft = drafted(columns(), [*HEAD[:6], header])
    text = layout_text(draft, ["a.csv"]).replace("# carry_yd: {from", "carry_yd: {from", 1)
    layout = yaml.safe_load(text)
    assert set(layout) <= {"delimiter", "columns"}
    assert set(layout["columns"]) <= set(draft.columns)


@pytest.mark.parametrize(
    ("header", "meaning"),
    [
        ("Side spin", None), ("Spin loft", None), ("Dynamic loft", None), ("Speed ratio", None), ("Flight time", None),
        ("Target distance", None), ("Exported", None), ("Birth date", None), ("Wind speed", None),
        ("Speed", "(speed)"), ("Distance", "(distance)"), ("Club", "(club)"), ("Launch direction", "launch_side_deg"),
        ("Spin axis", "spin_axis_deg"), ("Total", "total_yd"),
    ],
)  # fmt: skip
def test_headers_that_sound_like_others_are_told_apart(header, meaning):
    assert read_header(header).meaning == meaning


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_encodings_are_found(encoding):
    text = "Schläger;Höhe\n1;2\n" * 20
    found, read = decoded(text.encode(encoding))
    assert (found, read.removeprefix("\ufeff")) == (encoding, text)
    # A part that ends inside a character is read up to there.
    assert decoded(text.encode(encoding)[:-3]) is not None


@pytest.mark.parametrize(
    ("encoding", "head", "name"),
    [
        ("cp1252", ["Schüler", "Zeit", "Schlägertempo (mph)"], "Jörg Weiß"),
        ("cp1250", ["Gracz", "Czas", "Prędkość kija (mph)"], "Łukasz Dąb"),
        ("cp932", ["氏名", "日時", "ヘッドスピード (mph)"], "山田 一"),
        ("cp1252", HEAD[:3], "Jörg Weiß"),
    ],
)
def test_headers_tell_which_old_encoding_it_is(encoding, head, name):
    cells = columns()
    cells[0] = [name] * len(cells[0])
    lines = [";".join(row) for row in ([*head, *HEAD[3:]], *zip(*cells, strict=True))]
    shape = shape_of_text("\n".join(lines).encode(encoding) + b"\n")
    assert (shape.encoding, shape.headers[2], shape.cells["c0"][0]) == (encoding, head[2], name)
    assert any("isn't utf-8" in note for note in draft_layout(shape, date(2026, 11, 20)).notes)
