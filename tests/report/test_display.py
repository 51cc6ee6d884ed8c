import polars as pl
from rows import table_of

from pipeline.report.display import ShownTable, html_table, markdown_table, show, tables_markup
from pipeline.report.shown_tables import (
    show_bands,
    show_scores,
    show_totals,
)
from pipeline.report.workbook.bands_text import bands_markdown
from pipeline.tables import columns as cols
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers

BAND = {
    "band_mph": 92.5, "golfers": 14, "shots": 410, "carry_p25_yd": 199.6, "carry_p50_yd": 207.75,
    "carry_p75_yd": 214.2, "carry_p90_yd": 218.9, "efficient_carry_yd": 221.4, "efficient_lo90_yd": 218.7,
    "efficient_hi90_yd": 224.1, "total_p25_yd": 222.6, "total_p50_yd": 230.75, "total_p75_yd": 236.2,
    "total_p90_yd": 241.9, "efficient_total_yd": 243.8, "launch_lo_deg": 11.06, "launch_hi_deg": 15.0,
    "spin_lo_rpm": 2104.0, "spin_hi_rpm": 2996.0, "total_launch_lo_deg": 10.04, "total_launch_hi_deg": 14.0,
    "total_spin_lo_rpm": 1996.0, "total_spin_hi_rpm": 2704.0, "speed_ratio_p50": 1.4, "in_window_share": 0.357,
}  # fmt: skip
HIDDEN = dict.fromkeys(
    name for name in BAND if name in ("golfers", "shots", "in_window_share", "speed_ratio_p50") or "_p" in name
)


def band_table(*rows):
    return table_of(BandTable, [BAND | row for row in rows])


def cells(line):
    return [cell.strip() for cell in line.strip().strip("|").split(" | ")]


def test_markdown_shows_rounded_values():
    lines = bands_markdown(band_table({}), min_golfers=5).splitlines()

    assert cells(lines[4]) == [
        "2026Q3", "92.5", "14", "410", "200", "208", "214", "219", "221", "219 to 224", "244",
        "11.5 to 15.0", "2,150 to 2,950", "1.40", "36", "",
    ]  # fmt: skip
    assert len(cells(lines[3])) == len(cells(lines[2])) == 16


def test_percentiles_show_their_intervals_all_in_markdown_and_the_middle_one_on_the_page():
    ends = {f"carry_p{p}_{end}90_yd": 200.0 + p + away for p in (25, 50, 90) for end, away in (("lo", -3), ("hi", 4))}
    table = band_table(
        ends | {"carry_p25_yd": 225.0, "carry_p50_yd": 250.0, "carry_p75_yd": 260.0, "carry_p90_yd": 290.0}
    )

    line = bands_markdown(table, min_golfers=5).splitlines()[4]
    shown = show_bands(table, min_golfers=5)

    assert cells(line)[4:8] == ["225 (222 to 229)", "250 (247 to 254)", "260", "290 (287 to 294)"]
    assert shown.table.row(0)[4:8] == ("225", "250 (247 to 254)", "260", "290")
    assert list(shown.spanners["Carry, yd"]) == shown.table.columns[4:8]


def test_markdown_shows_carry_and_run_in_a_second_table():
    text = bands_markdown(band_table({}), min_golfers=5)

    lines = text.partition("## Carry and roll together\n\n")[2].splitlines()
    assert cells(lines[0]) == show_totals(band_table({}), min_golfers=5).table.columns
    assert cells(lines[2]) == [
        "2026Q3", "92.5", "223", "231", "236", "242", "10.5 to 14.0", "2,000 to 2,700", "",
    ]  # fmt: skip


def test_markdown_tells_what_carry_and_run_rest_on():
    carry, _, total = " ".join(bands_markdown(band_table({}), min_golfers=5).split()).partition("## Carry and roll")

    assert "Carry is at standard conditions: each drive's measured carry is changed by the difference" in carry
    assert "Roll is calculated, not measured" in total
    assert "an assumed fairway of the firmness that the key flight.turf of study.yaml names" in total


def test_suppressed_row_of_totals_shows_nothing_else():
    table = band_table({"band_mph": 100.0}, HIDDEN | {"suppressed": True, "band_mph": 110.0})

    shown = show_totals(table, min_golfers=7).table

    assert shown["Note"].to_list() == ["", "suppressed (fewer than 7 golfers)"]
    assert set(shown.row(1)[2:-1]) == {"–"}  # noqa: RUF001
    assert shown.row(0)[2] == "223"


def test_totals_stand_in_the_order_of_the_bands(bands):
    keys = ("Quarter", "Band center, mph")

    totals = show_totals(bands, min_golfers=5).table.select(keys)

    assert totals.rows() == show_bands(bands, min_golfers=5).table.select(keys).rows()
    assert totals.row(0) == ("2026Q3", "70")


def test_every_figure_of_the_bands_has_its_unit_in_the_header():
    names = show_bands(band_table({}), min_golfers=5).table.columns

    assert [name for name in names if not name.endswith((", mph", ", yd", ", deg", ", rpm", ", %"))] == [
        "Quarter", "Golfers", "Drives", "Speed ratio, 50th percentile", "Note",
    ]  # fmt: skip


def test_suppressed_row_says_so_and_shows_nothing_else():
    table = band_table(HIDDEN | {"suppressed": True, "band_mph": 110.0, "note": "few"})

    shown = show_bands(table, min_golfers=7).table.row(0, named=True)

    assert shown.pop("Quarter") == "2026Q3"
    assert shown.pop("Band center, mph") == "110"
    assert shown.pop("Note") == "suppressed (fewer than 7 golfers)"
    assert set(shown.values()) == {"–"}  # noqa: RUF001
    assert len(shown) == 13


def test_missing_window_is_a_dash():
    shown = show_bands(band_table({"launch_lo_deg": None, "spin_hi_rpm": None}), min_golfers=5).table

    assert shown["Launch window, deg"].to_list() == ["–"]  # noqa: RUF001
    assert shown["Spin window, rpm"].to_list() == ["–"]  # noqa: RUF001


def test_bands_stand_newest_quarter_first_and_by_speed():
    table = band_table({"quarter": "2026Q1"}, {"band_mph": 100.0}, {"band_mph": 80.0})

    shown = show_bands(table, min_golfers=5).table

    assert shown.select("Quarter", "Band center, mph").rows() == [
        ("2026Q3", "80"),
        ("2026Q3", "100"),
        ("2026Q1", "92.5"),
    ]


def test_markdown_keeps_bars_lines_and_markup_inside_a_cell():
    table = pl.DataFrame({"Note": ["a|b\nc <i>\\"], "Yards, yd": ["3"]})

    text = markdown_table(ShownTable(table, ("Note",)))

    assert text == "| Note | Yards, yd |\n| --- | ---: |\n| a\\|b c &lt;i>\\\\ | 3 |\n"


def golfer(name, lost, **changes):
    row = {
        "golfer": f"g{name * 16}", "shots": 20, "club_speed_mph": 90.04, "carry_yd": 210.0 - lost,
        "efficient_yd": 210.0, "lost_yd": lost, "lost_lo90_yd": lost - 3.0, "lost_hi90_yd": lost + 3.0,
        "lost_contact_yd": lost + 0.04, "lost_launch_yd": -0.04, "main_cause": "contact", "p_value": 0.01,
        "q_value": 0.0213, "flagged": True, "status": "flagged",
    }  # fmt: skip
    return row | changes


def golfer_table(*rows):
    return table_of(Golfers, rows)


def test_scores_are_rounded_and_the_chosen_one_is_marked(scores):
    shown = show_scores(scores).table

    assert shown["RMS error, yd"].to_list() == ["11.23", "8.13", "8.10"]
    assert shown["Bias, yd"].to_list() == ["0.31", "0.00", "0.04"]
    assert shown["Drives inside the 90 % interval, %"].to_list() == ["87.1", "90.4", "90.0"]
    assert shown["Chosen"].to_list() == ["", "yes", ""]


def test_html_escapes_cells_and_headers():
    text = html_table(ShownTable(pl.DataFrame({"A<b>": ["<script>x</script>"]}), ("A<b>",)), table_id="t")

    assert "&lt;script&gt;x&lt;/script&gt;" in text
    assert "A&lt;b&gt;" in text
    assert "<script" not in text


def test_a_cell_with_a_writer_of_its_own_is_escaped_too():
    table = pl.DataFrame({"Golfer": ["<i>g</i>"], "Low, yd": ["1"], "High, yd": ["2"]})
    shown = ShownTable(
        table, ("Golfer",), spanners={"Carry, yd": {"Low, yd": "Low", "High, yd": "High"}},
        cells={"Golfer": lambda name: f'<a href="x.html">{name}</a>'},
    )  # fmt: skip

    text = html_table(shown, table_id="t")

    assert '<a href="x.html">&lt;i&gt;g&lt;/i&gt;</a>' in text
    assert "Low, yd" not in text
    assert text.index(">Carry, yd<") < text.index(">Low<") < text.index(">High<")


def test_tables_without_rows_are_empty_and_notes_that_say_nothing_are_left_out():
    told = pl.DataFrame({"Golfer": ["g1", "g2"], "Note": ["", "few"], "Remark": ["", ""]})

    made = tables_markup({"full": ShownTable(told, ("Golfer", "Note", "Remark")), "none": ShownTable(told.clear())})

    assert made["none"] == ""
    assert ">Note<" in made["full"]
    assert "Remark" not in made["full"]


class Shown(cols.Table):
    carry_yd, carry_lo90_yd, carry_hi90_yd = cols.estimate("Carry, change", "Change.", decimals=1, short="Carry")
    far_share = cols.share("Far", "Share of far ones.", nullable=True, decimals=1)
    centre_mph = cols.number("Centre", "Of the band.", trim=True)
    first_yd = cols.number("Lost at first", "First.", group="Parts", short="First")
    sure = cols.flag("Sure", "Whether it is.")
    day = cols.day("Day", "When.", nullable=True)
    note = cols.note()


ENDS = ("carry_lo90_yd", "carry_hi90_yd")


def shown_row(*items, short=False, **given):
    row = {"carry_yd": 1.26, "carry_lo90_yd": -0.04, "carry_hi90_yd": 12.5, "centre_mph": 92.5, "sure": True} | given
    return show(table_of(Shown, [row]), Shown, items, short=short)


def test_cells_and_headings_follow_from_the_schema():
    shown = shown_row("carry_yd", ENDS, "far_share", "centre_mph", "first_yd", "sure", "day", far_share=0.1234)

    assert shown.table.row(0, named=True) == {
        "Carry, change, yd": "1.3",
        "Carry, change, 90 % interval, yd": "0.0 to 12.5",
        "Far, %": "12.3",
        "Centre, mph": "92.5",
        "Lost at first, yd": "1",
        "Sure": "yes",
        "Day": "",
    }
    assert shown.text == ("Sure", "Day")
    assert shown.spanners == {"Parts, yd": {"Lost at first, yd": "First"}}


def test_figure_and_interval_share_a_cell_with_the_digits_of_the_figure():
    assert shown_row(("carry_yd", *ENDS), short=True).table.to_dicts() == [{"Carry, yd": "1.3 (0.0 to 12.5)"}]
    assert shown_row(("carry_yd", *ENDS), carry_lo90_yd=None).table.row(0) == ("1.3",)


def test_what_is_not_known_is_a_dash_in_figures_and_blank_in_texts():
    shown = shown_row("carry_yd", ENDS, "far_share", "note", carry_yd=None, carry_hi90_yd=None, sure=False)

    assert shown.table.row(0) == ("–", "–", "–", "")  # noqa: RUF001
