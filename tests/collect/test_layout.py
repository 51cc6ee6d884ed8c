import math
from datetime import date

import polars as pl
import pytest
from collect_samples import HEADER, ROW, changed, csv_text, written

from pipeline.collect.layout import match_headers, standardise
from pipeline.configuration.layouts import STANDARD_LAYOUT, Layout, LogFile
from pipeline.configuration.study import LogEntry

FOREIGN = {
    "golfer": {"from": "Wer"},
    "struck_at": {"from": "Wann", "format": "%d.%m.%Y %H:%M:%S"},
    "club_speed_mph": {"from": "Schlaeger", "unit": "m/s"},
    "ball_speed_mph": {"from": "Ball", "unit": "km/h"},
    "launch_deg": {"from": "Winkel", "unit": "rad"},
    "spin_rpm": {"from": "Drall", "unit": "1/s"},
    "carry_yd": {"from": "Flug", "unit": "m"},
    "temp_c": {"from": "Luft", "unit": "degF"},
    "pressure_hpa": {"from": "Druck", "unit": "inHg"},
    "altitude_m": {"from": "Hoehe", "unit": "ft"},
    "wind_along_mps": {"from": "Wind", "unit": "mph"},
}


def foreign_layout(**more):
    return Layout.model_validate({"delimiter": ";", "decimal": ",", "columns": FOREIGN, **more})


def test_units_convert_by_their_definitions(tmp_path, collect):
    log = written(
        tmp_path / "a.csv",
        "Wer;Wann;Schlaeger;Ball;Winkel;Drall;Flug;Luft;Druck;Hoehe;Wind\n"
        "Ann;03.08.2026 10:00:00;44,704;225,3;0,2;41,5;201,168;68;29,92;1000;10\n",
    )

    shot = collect(log, foreign_layout()).shots.row(0, named=True)

    # 1 mph = 0.44704 m/s, 1 yd = 0.9144 m, 1 inHg = 33.86389 hPa, 1 ft = 0.3048 m, by definition.
    assert shot["club_speed_mph"] == pytest.approx(100, rel=1e-12)
    assert shot["ball_speed_mph"] == pytest.approx(225.3 / 1.609344, rel=1e-12)
    assert shot["launch_deg"] == pytest.approx(math.degrees(0.2), rel=1e-12)
    assert shot["spin_rpm"] == pytest.approx(2490, rel=1e-12)
    assert shot["carry_yd"] == pytest.approx(220, rel=1e-12)
    assert shot["temp_c"] == pytest.approx(20, rel=1e-12)
    assert shot["pressure_hpa"] == pytest.approx(1013.2075888, rel=1e-12)
    assert shot["altitude_m"] == pytest.approx(304.8, rel=1e-12)
    assert shot["wind_along_mps"] == pytest.approx(4.4704, rel=1e-12)
    assert (shot["struck_on"], shot["quarter"]) == (date(2026, 8, 3), "2026Q3")


def test_decimal_comma_takes_no_point(tmp_path, collect):
    layout = Layout.model_validate(
        {"delimiter": ";", "decimal": ",", "columns": {c: {"from": c} for c in HEADER.split(",")}}
    )
    rows = [ROW.replace(",", ";"), changed(carry_yd="225.5").replace(",", ";")]
    log = written(tmp_path / "a.csv", csv_text(*rows, header=HEADER.replace(",", ";")))

    result = collect(log, layout)

    assert result.shots["row"].to_list() == [1]
    assert result.rejects.rows() == [("a.csv", 2, "not_a_number", "carry_yd")]


@pytest.mark.parametrize(
    ("cell", "value"), [("+12", 12.0), (" 12.5 ", 12.5), ("1.2e1", 12.0), (".5", 0.5), ("\u22123", -3.0)]
)
def test_number_spellings(tmp_path, collect, cell, value):
    log = written(tmp_path / "a.csv", csv_text(changed(launch_deg=cell)))

    assert collect(log).shots["launch_deg"].to_list() == [value]


@pytest.mark.parametrize(
    ("cell", "value"), [("TRUE", True), ("1", True), ("yes", True), ("no", False), ("0", False), ("", None)]
)
def test_flag_spellings(tmp_path, collect, cell, value):
    log = written(tmp_path / "a.csv", csv_text(f"{ROW},{cell}", header=f"{HEADER},spin_measured"))

    assert collect(log).shots["spin_measured"].to_list() == [value]


def test_constants_fill_what_the_log_lacks_and_its_gaps_only(tmp_path, collect):
    log = written(tmp_path / "a.csv", csv_text(f"{ROW},unit-Z,30", f"{ROW}, ,", header=f"{HEADER},device,temp_c"))

    shots = collect(log, device="unit-A", ball="premium", air={"altitude_m": 12, "temp_c": 18}).shots

    assert shots["device"].to_list() == ["unit-Z", "unit-A"]
    assert shots["ball"].to_list() == ["premium", "premium"]
    assert shots["temp_c"].to_list() == [30.0, 18.0]
    assert shots["altitude_m"].to_list() == [12.0, 12.0]
    assert shots["pressure_hpa"].to_list() == [None, None]


def test_bad_text_is_no_gap_for_a_constant_to_fill(tmp_path, collect):
    log = written(tmp_path / "a.csv", csv_text(f"{ROW},warm", header=f"{HEADER},temp_c"))

    assert collect(log, air={"temp_c": 18}).rejects.rows() == [("a.csv", 1, "not_a_number", "temp_c")]


def test_foreign_columns_are_dropped_and_told(tmp_path, collect, capsys):
    header = f"{HEADER},remarks,\x07{'x' * 60}"
    log = written(tmp_path / "a.csv", csv_text(f"{ROW},hook,1", header=header))

    result = collect(log)

    assert result.receipt["dropped"] == ["remarks", "x" * 40]
    assert "remarks" not in result.shots.columns
    line = f"a.csv: 1 rows read, 1 accepted, 0 rejected; columns not used: remarks, {'x' * 40}.\n"
    assert capsys.readouterr().out == line


def test_mapped_header_that_the_log_lacks_is_told(tmp_path, collect):
    log = written(tmp_path / "a.csv", "Wer;Wann;Schlaeger;Winkel;Drall;Flug\nAnn;03.08.2026 10:00:00;44;0,2;41;200\n")

    receipt = collect(log, foreign_layout()).receipt

    assert receipt["absent"] == ["ball_speed_mph", "temp_c", "pressure_hpa", "altitude_m", "wind_along_mps"]


def test_missing_header_names_the_near_one():
    headers = HEADER.replace("carry_yd", "Carry Yds").split(",")

    problems = match_headers(headers, STANDARD_LAYOUT).problems

    assert problems == ["it lacks the required column 'carry_yd'; it has 'Carry Yds'"]


def test_header_order_and_spaces_do_not_matter():
    matched = match_headers([f" {name} " for name in reversed(HEADER.split(","))], STANDARD_LAYOUT)

    assert matched.problems == []
    assert matched.positions["golfer"] == 6


def test_repeated_header_matters_only_where_it_is_used():
    assert match_headers([*HEADER.split(","), "x", "x"], STANDARD_LAYOUT).problems == []
    assert match_headers([*HEADER.split(","), "golfer"], STANDARD_LAYOUT).problems == [
        "the header 'golfer' appears 2 times; name it once"
    ]


def test_layout_without_a_required_column_is_a_problem():
    layout = Layout.model_validate({"columns": {c: {"from": c} for c in HEADER.split(",") if c != "spin_rpm"}})

    assert match_headers(HEADER.split(","), layout).problems == [
        "its layout names no header for the required column 'spin_rpm'; add it under columns"
    ]


ODD_NUMBERS = [
    "95", "95.5", " 95", "95 ", "+95", "+-95", "-5", "--5", "\u22125", "1.", ".5", "+.5", ".", "1e2", "1E-2", "1e",
    "1e400",
    "1_000", "0x10", "inf", "-Infinity", "nan", "NaN", "", "-", "n/a", "none", None, "1,5", "1.234,5",
    "\u0665", "1d5", "9 5", ",", "1,5e1",
]  # fmt: skip
ODD_TEXTS = ["Ann Oak", " Ann Oak", "NA", "n/a", "-", "", None, "bad\x00name", "J\u00f6rg"]
ODD_FLAGS = ["true", "TRUE", "1", "1.0", "0", "no", "maybe", "", None]
ODD_TIMES = [
    "2026-08-03T10:00:00", "2026-08-03 10:00:00", "2026-08-03T10:00:00Z", "2026-08-03", "2026-13-03T10:00:00",
    "03/04/2026",
    "2026-08-03T23:59:60", "2026-8-03T10:00:00", "0001-01-01T00:00:00", " 2026-08-03T10:00:00", "", None,
]  # fmt: skip


@pytest.mark.parametrize("odd", [ODD_NUMBERS, [cell for cell in ODD_NUMBERS if cell is None or "." not in cell]])
@pytest.mark.parametrize("unit", [None, "m/s"])
@pytest.mark.parametrize("decimal", [".", ","])
@pytest.mark.parametrize("typed_as_text", [True, False])
def test_many_rows_are_read_as_few_are(decimal, typed_as_text, unit, odd):
    # The quick ways of many rows must take and refuse what the slow way takes and refuses.
    names = {"golfer": ODD_TEXTS, "device": ODD_TEXTS, "spin_measured": ODD_FLAGS, "struck_at": ODD_TIMES}
    names |= dict.fromkeys(("club_speed_mph", "carry_yd"), odd)
    cells_of = {name: [cells[place % len(cells)] for place in range(6000)] for name, cells in names.items()}
    raw = pl.DataFrame(cells_of).with_columns(row=pl.int_range(1, 6001), ragged=pl.lit(False))
    speed = STANDARD_LAYOUT.columns["club_speed_mph"].model_copy(update={"unit": unit})
    columns = STANDARD_LAYOUT.columns | {"club_speed_mph": speed}
    layout = STANDARD_LAYOUT.model_copy(update={"decimal": decimal, "columns": columns})
    log_file = LogFile(source="a.csv", entry=LogEntry(files="a.csv"), layout=layout)

    many = standardise(raw, log_file, typed_as_text=typed_as_text)

    few = [standardise(raw.slice(place, 1000), log_file, typed_as_text=typed_as_text) for place in range(0, 6000, 1000)]
    assert many.equals(pl.concat(few))
    assert many["club_speed_mph"].n_unique() > 4
    assert many["fault_rule"].n_unique() > 4
