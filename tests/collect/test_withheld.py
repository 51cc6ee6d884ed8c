import polars as pl
import pytest
from collect_samples import HEADER, ROW, changed, csv_text, written

from pipeline.collect.collect_logs import collect as collect_rows
from pipeline.collect.pseudonym import pseudonym
from pipeline.collect.withheld import all_names, clean_texts, holds_name, known_names, shown_headers, withhold_names
from pipeline.configuration.layouts import STANDARD_LAYOUT, LogFile
from pipeline.configuration.study import LogEntry

KEY = bytes.fromhex("0f" * 32)
TEXTS = f"{HEADER},site,device,ball,setting,group"


@pytest.mark.parametrize(
    "text",
    ["Ann Oak", "ann oak", "OAK, ANN", "Ann\u00a0Oak's unit", "ann_oak_2", "unit of Ann B. Oak", "AnnOak-rig",
     "\uff21nn Oak", "A\u0301nn Oak"],
)  # fmt: skip
def test_a_name_is_found_in_any_order_and_spelling(text):
    assert holds_name(text, known_names(["Ann Oak"]), parts=False)


@pytest.mark.parametrize("text", ["unit-A", "Annex", "oakwood", "premium", "", "-", "unit of Ann", "Planned Oaks"])
def test_other_texts_hold_no_name(text):
    assert not holds_name(text, known_names(["Ann Oak"]), parts=False)


def test_parts_of_a_name_count_only_where_they_are_asked_for():
    names = known_names(["Ann Oak", "Bo Elm"])

    assert [holds_name(text, names, parts=True) for text in ("Oak", "oak", "Bo", "Bo 2", "Oak bay", "bay")] == [
        True, True, False, False, True, False,
    ]  # fmt: skip
    assert not holds_name("Oak", names, parts=False)


@pytest.mark.parametrize(
    ("name", "text", "found"),
    [("A", "unit-A", False), ("12", "unit 12", False), ("", "unit", False), ("n/a", "n a", False),
     ("Bo", "Bo's unit", True), ("104711", "set 104711", True), ("J\u00f6rg", "jorg", True),
     ("\u674e\u660e", "\u674e\u660e", True)],
)  # fmt: skip
def test_names_too_short_to_be_one_blot_nothing_out(name, text, found):
    assert holds_name(text, known_names([name]), parts=True) is found


@pytest.mark.parametrize(
    ("name", "text"),
    [("Ann Oak", "bay of Ann"), ("Ann Oak", "Oak's 9.5"), ("Ann Oak", "Oaks 9.5"), ("Ann Oak", "the oak mat"),
     ("Oak, Ann", "annoak2"), ("Ann Oak", "oakann2"), ("Ann Oak", "Ann\u2019s"), ("Bo O'Neil", "ONeil 9.5"),
     ("Bo ONeil", "bay O\u2019Neil"), ("Ann-Marie Elm", "Annmarie"), ("J\u00f6rg M\u00fcl", "Bay Muel 2"),
     ("J\u00f8rn \u0141uk", "jorn luk bay"), ("Ann Oak", "bay A.O. 2"), ("Ann Oak", "O. A. 9.5"),
     ("Ann Oak", "AO's bay"),
     ("Ann Oak", "bay of ao"), ("Ann B. Oak", "A.B.O."), ("Ann Oak", "\uff2f\uff21\uff2b bay"),
     ("Ann Oak", "\u0430nn"), ("\u0410\u043d\u043d\u0430 \u0414\u0443\u0431", "Dub bay"),
     ("Anna Dub", "bay \u0414\u0443\u0431 2"), ("\u674e\u660e", "\u674e\u660e\u7684\u7403\u9053"),
     ("\u5c71\u7530 \u592a\u90ce", "\u5c71\u7530\u306e\u6253\u5e2d"), ("\uae40 \ubbfc\uc218", "\ubbfc\uc218\uc758"),
     ("Ann Oak", "Oak2"), ("Ann Oak", "2oak"), ("Ann Oak", "bayOak"), ("Ann Oak", "OakBay"), ("AnnOak3", "oak bay"),
     ("Kim Li", "Li's 9.5"), ("Kim Li", "bay of Li"), ("Mary van der Berg", "vanderberg 2"),
     ("Mary van der Berg", "maryberg"), ("Ian McDonald", "Mc Donald"),
     ("\u0393\u03b9\u03ce\u03c1\u03b3\u03bf\u03c2 \u039d\u03af\u03ba\u03bf\u03c5", "Nikou bay"),
     ("Ann Hill", "Hill's mat"), ("Ann Hill", "bay of Hill"), ("Ann Hill", "ann hill 2"), ("Ann Hill", "hill")],
)  # fmt: skip
@pytest.mark.parametrize("sealed", [False, True])
def test_a_name_inside_a_longer_text_is_found(name, text, sealed):
    names = known_names([name, "Corvo Vell"])

    if sealed:
        assert holds_name(text, names.sealed(_seal), parts=True, seal=_seal)
    else:
        assert holds_name(text, names, parts=True)
    assert not holds_name(text, known_names(["Corvo Vell"]), parts=True)


@pytest.mark.parametrize(
    ("name", "text"),
    [("Ann Hill", "hill bay"), ("Bo North", "north range"), ("Ann Oak", "oakwood"), ("Ann Oak", "Annexe 2"),
     ("Ann Oak", "AO"), ("Bo Elm", "bo 12"), ("Ann Oak", "planned 9.5"), ("golfer 12", "golfer 3"),
     ("unit Elm", "unit-A"), ("Kim Li", "li 12"), ("Kim Li", "LiPo"), ("member7", "member 8"), ("S1001", "1001")],
)  # fmt: skip
def test_words_that_are_no_name_by_themselves_stay(name, text):
    assert not holds_name(text, known_names([name]), parts=True)


def test_sealed_names_hold_no_word_of_a_name():
    sealed = known_names(["Ann Oak", "Ann Hill"]).sealed(_seal)

    assert "oak" not in repr(sealed)
    assert all_names([sealed, known_names(["Bo Elm"]).sealed(_seal)]) == known_names(
        ["Ann Oak", "Ann Hill", "Bo Elm"]
    ).sealed(_seal)


def test_signs_that_nobody_sees_do_not_hide_a_name_in_a_text():
    rows = pl.DataFrame({"device": ["C\u200bor\u202ev\u00ado 2", "Cor vo"]})

    found, counts = withhold_names(clean_texts(rows, ["device"]), known_names(["Corvo"]), {"device": None})

    assert (found["device"].to_list(), counts) == (["withheld", "Cor vo"], {"device": 1})


def _seal(word):
    return word.encode().hex()


def test_withheld_cells_are_counted_and_the_studys_own_words_stay():
    rows = pl.DataFrame({"site": ["oak", "oak", "bay"], "device": ["Ann Oak", None, "unit-A"], "ball": ["x"] * 3})

    found, counts = withhold_names(rows, known_names(["Ann Oak"]), {"site": "oak", "device": None, "ball": None})

    assert found["site"].to_list() == ["oak", "oak", "bay"]
    assert found["device"].to_list() == ["withheld", None, "unit-A"]
    assert counts == {"device": 1}


def test_control_and_unseen_characters_are_taken_out():
    rows = pl.DataFrame({"device": ["unit\x00-A\x1b[31m", "\u202eunit\u200b", "\x07", " a\u2028b "], "x": ["\x07"] * 4})

    found = clean_texts(rows, ["device"])

    assert found["device"].to_list() == ["unit -A [31m", "unit", None, "a b"]
    assert found["x"].to_list() == ["\x07"] * 4


def test_headers_that_look_like_data_are_named_by_their_place():
    headers = ["golfer", "remark", "Ann Oak", "ann@oak.example", "2026-08-03", "3.8.2026", "", "bay no 12", "\x1b[2J"]

    assert shown_headers(headers, [0], known_names(["Ann Oak", "Bo"])) == [
        "remark", "(column 3)", "(column 4)", "(column 5)", "(column 6)", "(no header)", "bay no 12", "[2J",
    ]  # fmt: skip


def test_names_in_texts_are_never_stored_and_told_by_number(tmp_path, collect, capsys):
    log = written(
        tmp_path / "a.csv",
        csv_text(
            f"{ROW},bay,unit of Bo Elm,Ann Oak,oak,team",
            f"{changed(golfer='Bo Elm')},bay,unit-A,soft,Elm,team",
            header=TEXTS,
        ),
    )

    result = collect(log)

    assert result.shots["device"].to_list() == ["withheld", "unit-A"]
    assert result.shots["ball"].to_list() == ["withheld", "soft"]
    assert result.shots["setting"].to_list() == ["withheld", "withheld"]
    assert result.shots["site"].to_list() == ["bay", "bay"]
    assert result.receipt["withheld"] == {"ball": 1, "device": 1, "setting": 2}
    shown = capsys.readouterr().out
    assert "cells withheld, as they hold a golfer's name: 1 in ball, 1 in device, 2 in setting" in shown
    written_bytes = b"".join(path.read_bytes() for path in result.paths.values()).lower() + shown.encode().lower()
    assert not [name for name in (b"oak", b"elm") if name in written_bytes]


def test_a_name_in_a_later_piece_of_a_log_is_withheld_from_the_start(tmp_path, collect, monkeypatch):
    monkeypatch.setattr("pipeline.collect.read.BATCH_ROWS", 2)
    rows = [f"{ROW},,Bo Elm,,,"] * 4 + [f"{changed(golfer='Bo Elm')},,,,,"]

    shots = collect(written(tmp_path / "a.csv", csv_text(*rows, header=TEXTS))).shots

    assert shots["device"].to_list() == ["withheld"] * 4 + [None]


def test_a_file_named_after_a_golfer_is_told(tmp_path, collect, capsys):
    result = collect(written(tmp_path / "oak_ann.csv", csv_text(ROW)))

    assert result.receipt["named_file"] is True
    assert "its file name holds a golfer's name and results show it: rename the file" in capsys.readouterr().out
    assert collect(written(tmp_path / "a.csv", csv_text(ROW))).receipt["named_file"] is False


def test_groups_are_masked_unless_the_study_keeps_them_plain(tmp_path):
    log = written(tmp_path / "a.csv", csv_text(f"{ROW},,,,,Juniors\x07", f"{ROW},,,,,Ann Oak", header=TEXTS))
    entry = LogEntry(files="a.csv")

    def groups(**how):
        pieces = []
        described = LogFile(source="a.csv", entry=entry, layout=STANDARD_LAYOUT, **how)
        collect_rows(log, described, KEY, lambda rows: pieces.append(rows.accepted["group"]))
        return pl.concat(pieces).to_list()

    assert groups() == [pseudonym("Juniors\x07", KEY, "group"), pseudonym("Ann Oak", KEY, "group")]
    assert groups(group="plain") == ["Juniors", "withheld"]
