import base64
import re
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest
from coach_tables import LIGHT_TOOL, changed
from matplotlib.colors import to_hex

from pipeline.errors import UserError
from pipeline.report.figures.look import band_colours
from pipeline.report.page import write_report
from pipeline.report.page.page import (
    build_page,
    count_causes,
    count_golfers,
    count_unassessed,
    kept_set,
    newest_quarter,
)
from pipeline.tables.figures import BandTable, Calibrations
from pipeline.tables.golfers import Changes, Golfers

NAMES = ["carry_by_speed", "delivery_70", "delivery_80", "delivery_90", "delivery_100", "delivery_110", "losses"]


@pytest.fixture
def page(tables, model, settings):
    """Give a function that builds the page, tables changed at will."""

    def build(**other):
        inputs = {"model": model, "settings": settings}
        inputs |= {name: other.pop(name) for name in [*other] if name in inputs}
        images = {name: name.encode() for name in NAMES}
        return build_page(
            tables=changed(tables, **other), images=images, card="Fitted on <b>60</b> golfers.", light_tool=LIGHT_TOOL,
            **inputs,
        )  # fmt: skip

    return build


def section(text, start, end):
    found = text.index(start)
    return text[found : text.index(end, found)]


def test_page_lists_the_flagged_of_the_newest_quarter_worst_first(page, golfers):
    text = section(page(), 'id="flagged-table"', "<h2>Movement")

    flagged = golfers.filter(pl.col("flagged") & (pl.col("quarter") == "2026Q3"))
    worst_first = flagged.sort("ranked_lost_yd", descending=True)["golfer"].to_list()
    assert len(worst_first) == 11
    assert re.findall(r'href="\.\./golfers/sheets/2026Q3_(g[0-9a-f]{16})\.html">\1<', text) == worst_first


def test_text_of_logs_and_card_is_escaped(page):
    text = page()

    assert "<script" not in text
    assert "the column &lt;script&gt;alert(1)&lt;/script&gt; is not there" in text
    assert "Fitted on &lt;b&gt;60&lt;/b&gt; golfers." in text


def test_page_needs_no_other_file_and_no_network(page):
    text = page()

    assert {source.partition(",")[0] for source in re.findall(r'\bsrc="([^"]*)"', text)} == {"data:image/png;base64"}
    assert re.findall(r"https?://|@import|url\(|<link|<script", text) == []


def test_links_are_to_pages_that_a_run_makes(page):
    links = set(re.findall(r'href="([^"]*)"', page()))

    sheets = {link for link in links if re.fullmatch(r"\.\./golfers/sheets/2026Q3_g[0-9a-f]{16}\.html", link)}
    assert len(sheets) == 11
    assert links - sheets == {"lookup.html", "../golfers/sheets/index.html", "../model/diagnostics.html"}


def test_figures_are_in_the_page_byte_for_byte(page):
    found = re.findall(r'src="data:image/png;base64,([^"]*)"', page())

    assert sorted(base64.b64decode(data).decode() for data in found) == sorted(NAMES)


def test_every_figure_has_a_text_for_those_who_cannot_see_it(page):
    assert len(re.findall(r'<img src="[^"]+" alt="[A-Z][^"]{30,}">', page())) == 7


def test_page_tells_bands_scores_and_rejects(page):
    text = page()

    bands = section(text, "<h2>Speed bands", "Earlier quarters")
    assert "suppressed (fewer than 5 golfers)" in bands
    assert ">2,150 to 2,950<" in bands
    assert "no window | too few deliveries" in bands
    assert "Chosen: second order." in text
    assert "off by 8.1 yd" in text
    quality = section(text, "<h2>Quality of the data", "<h2>What is left out")
    assert "2 logs, 1 of them refused. Of 1,000 rows, 980 were accepted,\n14 rejected and 6 left out" in quality
    assert ">more ball speed than the club speed can give<" in quality


def test_page_shows_carry_and_run_in_a_table_of_its_own(page):
    bands = section(page(), "<h2>Speed bands", "Earlier quarters")

    carry, _, total = bands.partition("<h3>Carry and roll together")
    assert ">2,000 to 2,850<" in total
    assert ">10.5 to 14.5<" in total
    assert ">Total, yd<" in total
    assert ">Total, yd<" not in carry
    assert ">Carry, yd<" in carry
    assert ">2,150 to 2,950<" not in total
    assert total.count("suppressed (fewer than 5 golfers)") == 1


def test_page_tells_which_flight_moved_carry_and_what_the_run_rests_on(page):
    flight = " ".join(section(page(), "<h3>Ball flight", "<h3>How good the model is").split())

    assert (
        "with the coefficient set ridge-1990, the published set whose flights lie nearest to the study's drives, "
        "fitted to 1900 of them by 83 golfers: drag times 0.928 (standard error 0.002) and lift "
        "times 1.014 (standard error 0.004)."
    ) in flight
    assert "It assumes a fairway with firm turf, whose values are assumptions, not measurements" in flight
    assert flight.index(">ridge-1990<") < flight.index(">flat-air<")


def test_page_tells_a_set_that_the_study_names(page, settings):
    settings["flight"] = {"coefficients": "ridge-1990", "turf": "soft"}

    flight = " ".join(section(page(settings=settings), "<h3>Ball flight", "<h3>How good the model is").split())

    assert (
        "the coefficient set ridge-1990, named in study.yaml and fitted to the study's drives, 1900 of them" in flight
    )
    assert "It assumes a fairway with soft turf" in flight


def test_page_does_not_call_a_published_set_fitted(page, calibrations):
    unknown = pl.lit(None, dtype=pl.Float64)
    table = calibrations.with_columns(
        drag_std_error=unknown, lift_std_error=unknown, note=pl.lit("not calibrated: 9 drives")
    )

    flight = " ".join(section(page(calibrations=table), "<h3>Ball flight", "<h3>How good").split())

    assert "as published, because nothing could be fitted to the study's drives (not calibrated: 9 drives)." in flight
    assert "1900 of them" not in flight


@pytest.mark.parametrize(("kept", "told"), [([False] * 3, "0 coefficient sets"), ([True, True, False], "2 coeff")])
def test_one_set_of_flight_must_be_kept(calibrations, kept, told):
    table = Calibrations.validate(calibrations.with_columns(kept=pl.Series(kept)))

    with pytest.raises(UserError, match=rf"calibrations\.csv: {told}"):
        kept_set(table)


def test_page_names_the_settings_that_flags_rest_on(page, settings):
    settings["flags"] = {"lost_yd": 12.5, "false_discovery_rate": 0.05, "min_shots": 17}

    text = page(settings=settings)

    assert "when more than 12.5 yd are lost" in text
    assert "needs 17 drives" in " ".join(text.split())
    assert "at most about 5 in 100 are expected to be wrong" in text


def test_page_without_flags_says_so(page, golfers):
    clear = golfers.filter(pl.col("status") != "flagged")

    text = page(golfers=Golfers.validate(clear))

    assert "No golfer is flagged in this quarter." in text
    assert "Main causes" not in text
    assert '<dd id="recoverable_yd">0 yd' in text
    assert "../golfers/sheets/2026Q3" not in text


def test_page_without_chosen_model_rejects_or_bands_of_the_quarter(page, scores, rejects, bands):
    text = page(
        scores=scores.with_columns(chosen=pl.lit(False)),
        rejects=rejects.clear(),
        bands=BandTable.validate(bands.filter(pl.col("quarter") == "2026Q2")),
    )

    assert "No model was chosen." in text
    assert "No row was rejected." in text
    assert "There is no band with drives in this quarter." in text


def test_nothing_to_report_is_told_plainly():
    with pytest.raises(UserError, match="no drive was accepted"):
        newest_quarter(Golfers.create_empty(), BandTable.create_empty())


def test_counts_are_of_one_quarter(golfers):
    counts = count_golfers(golfers, "2026Q2")

    flagged = golfers.filter(pl.col("flagged") & (pl.col("quarter") == "2026Q2"))
    assert counts["lost_yd"] == pytest.approx(sum(flagged["lost_yd"]))
    assert counts["recoverable_yd"] == pytest.approx(sum(flagged["ranked_lost_yd"]))
    assert counts["drives"] == sum(golfers.filter(quarter="2026Q2")["shots"])
    people = {name: counts[name] for name in ("all", "assessed", "flagged", "not_assessed")}
    assert people == {"all": 24, "assessed": 22, "flagged": 6, "not_assessed": 2}
    assert sum(count for _, count in count_causes(golfers, "2026Q3")) == 11
    assert count_causes(golfers, "2026Q3")[0] == ("launch", 3)


def test_where_luck_cannot_be_told_the_plain_yards_are_added_up(golfers):
    plain = golfers.with_columns(pl.lit(None, pl.Float64).alias(f"ranked_{end}_yd") for end in ("lost", "lo90", "hi90"))

    counts = count_golfers(Golfers.validate(plain), "2026Q3")

    assert counts["recoverable_yd"] == counts["lost_yd"] > 100


def test_why_golfers_were_not_assessed_is_counted(golfers):
    left_out = golfers.filter((pl.col("quarter") == "2026Q3") & (pl.col("status") == "not_assessed"))
    three, fast = left_out.head(3), left_out.tail(1)
    told = [
        three.with_columns(shots=pl.Series([4, 9, 11], dtype=pl.Int64), note=pl.Series(["a", "b", "c"])),
        fast.with_columns(shots=pl.lit(40, pl.Int64), note=pl.lit("too fast for the benchmarks")),
    ]

    counted = count_unassessed(Golfers.validate(pl.concat(told)), "2026Q3", 12)

    assert counted == [("fewer than 12 drives", 3), ("too fast for the benchmarks", 1)]


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        (
            {},
            "This run used the newest fit, k0123456789ab. It was fitted on 3,000 drives of 60 golfers, 2026Q2, 2026Q3.",
        ),
        ({"kept": True}, "This run used a kept model, k0123456789ab. Golfers and bands are measured with it"),
        (
            {"verdict": "keep", "held_against": "kffff"},
            "The comparison with the model before it, kffff, says to keep that one",
        ),
    ],
)
def test_page_says_which_model_it_used(page, model, changed, told):
    said = " ".join(section(page(model=replace(model, **changed)), '<p id="model">', "</p>").split())

    assert told in said
    assert ("comparison.md" in said) == ("verdict" in changed)


def test_page_tells_what_was_suppressed(page, bands):
    assert "2026Q3 110 mph, 2026Q2 110 mph." in section(page(), '<p id="suppressed">', "</p>")

    clear = BandTable.validate(bands.filter(~pl.col("suppressed")))
    assert "Nothing had to be suppressed" in section(page(bands=clear), '<p id="suppressed">', "</p>")


def test_page_without_an_earlier_quarter_has_no_movement(page, changes):
    text = page(changes=Changes.validate(changes.clear()))

    assert "No golfer was assessed in an earlier quarter" in text
    assert "newly flagged" not in text
    assert 'id="changes-table"' not in text


def test_a_band_has_one_colour_in_the_page_and_in_the_figures(page, settings):
    colours = {f"{centre:g}": to_hex(c) for centre, c in band_colours(settings["bands"]["centres"]).items()}

    marked = re.findall(r'<span class="mark" style="background:(#[0-9a-f]{6})"></span>(\d+)<', page())

    # Carry and total, of two quarters.
    assert len(marked) == 4 * len(colours)
    assert {centre: colour for colour, centre in marked} == colours


def write(study_files, figure_paths, settings, target, **more):
    tables = [path for name, path in study_files.items() if path.endswith(".csv") and name != "practice"]
    inputs = {name: study_files[name] for name in ("card", "model", "which")} | more
    inputs["tables"] = [*tables, *inputs.pop("practice", [])]
    write_report.run(**inputs, figures=figure_paths, page=str(target), settings=settings, kept=False)
    return target.read_text(encoding="utf-8")


def test_step_puts_the_png_files_into_the_page(tmp_path, study_files, figure_paths, settings):
    (tmp_path / "figures").mkdir()
    for path in figure_paths:
        Path(path).write_bytes(Path(path).name.encode())

    text = write(study_files, figure_paths, settings, tmp_path / "report" / "academy.html")

    found = [base64.b64decode(data).decode() for data in re.findall(r"base64,([^\"]*)", text)]
    assert sorted(found) == sorted(f"{name}.png" for name in NAMES)
    assert text == write(study_files, figure_paths, settings, tmp_path / "again.html")


def test_step_tells_of_speed_practice_where_there_are_speed_logs(tmp_path, study_files, figure_paths, settings):
    (tmp_path / "figures").mkdir()
    for path in figure_paths:
        Path(path).write_bytes(b"png")
    practised = {"practice": [study_files["practice"]], "light_tool": study_files["light_tool"]}

    without = write(study_files, figure_paths, settings, tmp_path / "without.html")
    practising = write(study_files, figure_paths, settings, tmp_path / "with.html", **practised)

    assert "<h2>Speed practice" not in without
    assert "<h2>Speed practice" in practising
    assert "counts as 1.20 times the driver&#39;s" in practising


def test_missing_figure_file_is_told_plainly(tmp_path, study_files, figure_paths, settings):
    with pytest.raises(UserError, match=r"carry_by_speed\.png: the file is missing"):
        write(study_files, figure_paths, settings, tmp_path / "academy.html")
