import polars as pl
import pytest

from pipeline.report.display import (
    bands_markdown,
    html_table,
    markdown_table,
    show_bands,
    show_calibrations,
    show_flagged,
    show_rejects,
    show_scores,
    show_sources,
    show_totals,
)
from pipeline.tables.figures import BandTable, Calibrations
from pipeline.tables.golfers import Golfers

BAND = {
    "quarter": "2026Q3",
    "band_mph": 92.5,
    "golfers": 14,
    "shots": 410,
    "carry_p25_yd": 199.6,
    "carry_p50_yd": 207.75,
    "carry_p75_yd": 214.2,
    "carry_p90_yd": 218.9,
    "efficient_carry_yd": 221.4,
    "efficient_lo90_yd": 218.7,
    "efficient_hi90_yd": 224.1,
    "total_p25_yd": 222.6,
    "total_p50_yd": 230.75,
    "total_p75_yd": 236.2,
    "total_p90_yd": 241.9,
    "efficient_total_yd": 243.8,
    "launch_lo_deg": 11.06,
    "launch_hi_deg": 15.0,
    "spin_lo_rpm": 2104.0,
    "spin_hi_rpm": 2996.0,
    "total_launch_lo_deg": 10.04,
    "total_launch_hi_deg": 14.0,
    "total_spin_lo_rpm": 1996.0,
    "total_spin_hi_rpm": 2704.0,
    "speed_ratio_p50": 1.4,
    "in_window_share": 0.357,
    "suppressed": False,
    "note": None,
}
HIDDEN = dict.fromkeys(
    name for name in BAND if name in ("golfers", "shots", "in_window_share", "speed_ratio_p50") or "_p" in name
)


def band_table(*rows):
    return BandTable.validate(pl.DataFrame([BAND | row for row in rows], schema=BandTable.column_names()), cast=True)


def cells(line):
    return [cell.strip() for cell in line.strip().strip("|").split(" | ")]


def test_markdown_shows_rounded_values():
    lines = bands_markdown(band_table({}), min_golfers=5).splitlines()

    assert cells(lines[4]) == [
        "2026Q3", "92.5", "14", "410", "200", "208", "214", "219", "221", "219 to 224", "244",
        "11.1 to 15.0", "2100 to 3000", "1.40", "36", "",
    ]  # fmt: skip
    assert len(cells(lines[3])) == len(cells(lines[2])) == 16


def test_markdown_shows_carry_and_run_in_a_second_table():
    text = bands_markdown(band_table({}), min_golfers=5)

    lines = text.partition("## Carry and run together\n\n")[2].splitlines()
    assert cells(lines[0]) == show_totals(band_table({}), min_golfers=5).columns
    assert cells(lines[2]) == [
        "2026Q3", "92.5", "223", "231", "236", "242", "10.0 to 14.0", "2000 to 2700", "",
    ]  # fmt: skip


def test_markdown_tells_what_carry_and_run_rest_on():
    carry, _, total = " ".join(bands_markdown(band_table({}), min_golfers=5).split()).partition("## Carry and run")

    assert "Carry is at standard conditions: each drive's measured carry is changed by the difference" in carry
    assert "The run is worked out, not measured" in total
    assert "an assumed fairway of the firmness that the key flight.turf of study.yaml names" in total


def test_suppressed_row_of_totals_shows_nothing_else():
    table = band_table({"band_mph": 100.0}, HIDDEN | {"suppressed": True, "band_mph": 110.0})

    shown = show_totals(table, min_golfers=7)

    assert shown["Note"].to_list() == ["", "suppressed (fewer than 7 golfers)"]
    assert set(shown.row(1)[2:-1]) == {"–"}  # noqa: RUF001
    assert shown.row(0)[2] == "223"


def test_totals_stand_in_the_order_of_the_bands(bands):
    keys = ("Quarter", "Band centre, mph")

    totals = show_totals(bands, min_golfers=5).select(keys)

    assert totals.rows() == show_bands(bands, min_golfers=5).select(keys).rows()
    assert totals.row(0) == ("2026Q3", "70")


def test_every_figure_of_the_bands_has_its_unit_in_the_header():
    names = show_bands(band_table({}), min_golfers=5).columns

    assert [name for name in names if not name.endswith((", mph", ", yd", ", deg", ", rpm", ", %"))] == [
        "Quarter", "Golfers", "Drives", "Speed ratio, 50th percentile", "Note",
    ]  # fmt: skip


def test_suppressed_row_says_so_and_shows_nothing_else():
    table = band_table(HIDDEN | {"suppressed": True, "band_mph": 110.0, "note": "few"})

    shown = show_bands(table, min_golfers=7).row(0, named=True)

    assert shown.pop("Quarter") == "2026Q3"
    assert shown.pop("Band centre, mph") == "110"
    assert shown.pop("Note") == "suppressed (fewer than 7 golfers)"
    assert set(shown.values()) == {"–"}  # noqa: RUF001
    assert len(shown) == 13


def test_missing_window_is_a_dash():
    shown = show_bands(band_table({"launch_lo_deg": None, "spin_hi_rpm": None}), min_golfers=5)

    assert shown["Launch window, deg"].to_list() == ["–"]  # noqa: RUF001
    assert shown["Spin window, rpm"].to_list() == ["–"]  # noqa: RUF001


def test_bands_stand_newest_quarter_first_and_by_speed():
    table = band_table({"quarter": "2026Q1"}, {"band_mph": 100.0}, {"band_mph": 80.0})

    shown = show_bands(table, min_golfers=5)

    assert shown.select("Quarter", "Band centre, mph").rows() == [
        ("2026Q3", "80"),
        ("2026Q3", "100"),
        ("2026Q1", "92.5"),
    ]


def test_markdown_keeps_bars_lines_and_markup_inside_a_cell():
    table = pl.DataFrame({"Note": ["a|b\nc <i>\\"], "Yards, yd": ["3"]})

    text = markdown_table(table, text=("Note",))

    assert text == "| Note | Yards, yd |\n| --- | ---: |\n| a\\|b c &lt;i>\\\\ | 3 |\n"


def golfer(name, lost, **changes):
    row = {
        "golfer": f"g{name * 16}", "quarter": "2026Q3", "shots": 20, "club_speed_mph": 90.04, "ball_speed_mph": 130.0,
        "launch_deg": 9.96, "spin_rpm": 3346.0, "carry_yd": 210.0 - lost, "efficient_yd": 210.0, "lost_yd": lost,
        "lost_lo90_yd": lost - 3.0, "lost_hi90_yd": lost + 3.0, "lost_contact_yd": lost + 0.04, "lost_launch_yd": -0.04,
        "lost_spin_yd": 0.0, "lost_consistency_yd": 0.0, "lost_other_yd": 0.0, "main_cause": "contact",
        "p_value": 0.01, "q_value": 0.0213, "flagged": True, "status": "flagged", "note": None,
    }  # fmt: skip
    return row | changes


def golfer_table(*rows):
    return Golfers.validate(pl.DataFrame(rows, schema=Golfers.column_names()), cast=True)


def test_flagged_stand_in_the_order_of_yards_lost_with_luck_taken_out():
    luck = [{"ranked_lost_yd": r, "ranked_lo90_yd": r - 1, "ranked_hi90_yd": r + 1} for r in (20.0, 31.0)]
    table = golfer_table(golfer("a", 35.0, **luck[0]), golfer("b", 33.0, **luck[1]), golfer("c", 50.0))

    shown = show_flagged(table, "2026Q3")

    # Nobody can tell what of the last one's yards is luck.
    assert shown["Golfer"].str.slice(1, 1).to_list() == ["b", "a", "c"]
    assert shown["Luck taken out, yd"].to_list() == ["31.0", "20.0", "–"]  # noqa: RUF001


def test_flagged_stand_worst_first_equal_ones_by_pseudonym():
    clear = {"flagged": False, "status": "clear"}
    table = golfer_table(
        golfer("b", 20.0), golfer("a", 20.0), golfer("c", 35.0), golfer("d", 50.0, **clear),
        golfer("e", 60.0, quarter="2026Q2"),
    )  # fmt: skip

    shown = show_flagged(table, "2026Q3")

    assert shown["Golfer"].to_list() == ["g" + "c" * 16, "g" + "a" * 16, "g" + "b" * 16]


def test_flagged_figures_are_rounded_for_display():
    shown = show_flagged(golfer_table(golfer("a", 21.26)), "2026Q3").row(0, named=True)

    assert shown["Club speed, mph"] == "90.0"
    assert (shown["Carry, yd"], shown["Efficient carry, yd"]) == ("188.7", "210.0")
    assert (shown["Yards lost, yd"], shown["its 90 % interval, yd"]) == ("21.3", "18 to 24")
    assert (shown["Contact, yd"], shown["Launch, yd"]) == ("21.3", "0.0")
    assert shown["Main cause"] == "contact"


def test_unknown_contact_is_a_dash():
    row = golfer("a", 20.0, lost_contact_yd=None, lost_launch_yd=20.0, ball_speed_mph=None)

    shown = show_flagged(golfer_table(row), "2026Q3").row(0, named=True)

    assert (shown["Contact, yd"], shown["Launch, yd"]) == ("–", "20.0")  # noqa: RUF001


@pytest.mark.parametrize(
    ("q", "told"),
    [(0.0009, "<0.1"), (0.001, "<1"), (0.0099, "<1"), (0.01, "1"), (0.0213, "3"), (3 * 0.01, "3"), (0.07, "7")],
)
def test_share_of_wrong_flags_is_rounded_to_the_unsure_side(q, told):
    shown = show_flagged(golfer_table(golfer("a", 20.0, q_value=q)), "2026Q3")

    assert shown["Wrong flags in 100"].to_list() == [told]


def test_no_flagged_golfer_gives_no_row():
    assert show_flagged(golfer_table(golfer("a", 2.0, flagged=False, status="clear")), "2026Q3").height == 0


def test_rejects_are_counted_by_rule_commonest_first(rejects):
    assert show_rejects(rejects).rows() == [
        ("the cell is empty", "carry", "8"),
        ("higher than any drive's", "spin", "5"),
        ("more ball speed than the club speed can give", "ball speed", "1"),
    ]


def test_refused_logs_come_first_with_their_reason(sources):
    shown = show_sources(sources)

    assert shown["Log"].to_list() == ["logs/bay_2.csv", "logs/bay_1.csv"]
    assert shown["Remark"].to_list() == ["the column <script>alert(1)</script> is not there", ""]
    assert shown.row(1)[2:6] == ("1000", "980", "14", "6")


def test_scores_are_rounded_and_the_chosen_one_is_marked(scores):
    shown = show_scores(scores)

    assert shown["RMS error, yd"].to_list() == ["11.23", "8.13", "8.10"]
    assert shown["Bias, yd"].to_list() == ["0.31", "0.00", "0.04"]
    assert shown["Drives inside the 90 % interval, %"].to_list() == ["87.1", "90.4", "90.0"]
    assert shown["Chosen"].to_list() == ["", "yes", ""]


def test_kept_set_of_flight_comes_first_rounded_by_its_doubt(calibrations):
    shown = show_calibrations(calibrations)

    assert shown["Coefficient set"].to_list() == ["ridge-1990", "flat-air", "tunnel"]
    assert shown.row(0) == ("ridge-1990", "0.928", "0.002", "1.014", "0.004", "3.3", "1900", "83", "yes", "fitted")
    assert shown["Kept"].to_list() == ["yes", "", ""]


def test_set_that_was_not_fitted_has_no_standard_error(calibrations):
    unknown = pl.lit(None, dtype=pl.Float64)
    table = calibrations.head(1).with_columns(
        pl.lit(1.0).alias("drag"), *(unknown.alias(n) for n in ("drag_std_error", "lift_std_error", "residual_sd_yd"))
    )

    shown = show_calibrations(Calibrations.validate(table)).row(0)

    assert shown[1:6] == ("1.000", "–", "0.936", "–", "–")  # noqa: RUF001


def test_html_escapes_cells_and_headers():
    text = html_table(pl.DataFrame({"A<b>": ["<script>x</script>"]}), table_id="t", text=("A<b>",))

    assert "&lt;script&gt;x&lt;/script&gt;" in text
    assert "A&lt;b&gt;" in text
    assert "<script" not in text


def test_a_cell_with_a_writer_of_its_own_is_escaped_too():
    table = pl.DataFrame({"Golfer": ["<i>g</i>"], "Low, yd": ["1"], "High, yd": ["2"]})

    text = html_table(
        table, table_id="t", text=("Golfer",), spanners={"Carry, yd": {"Low, yd": "Low", "High, yd": "High"}},
        cells={"Golfer": lambda name: f'<a href="x.html">{name}</a>'},
    )  # fmt: skip

    assert '<a href="x.html">&lt;i&gt;g&lt;/i&gt;</a>' in text
    assert "Low, yd" not in text
    assert text.index(">Carry, yd<") < text.index(">Low<") < text.index(">High<")
