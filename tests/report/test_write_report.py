import base64
import re
from pathlib import Path

import polars as pl
import pytest

from pipeline.errors import UserError
from pipeline.report import write_report
from pipeline.report.page import build_page, count_causes, count_golfers, kept_set, newest_quarter
from pipeline.tables import BandTable, Calibrations, Golfers

NAMES = ["carry_by_speed", "delivery_70", "delivery_80", "delivery_90", "delivery_100", "delivery_110", "losses"]


@pytest.fixture
def page(golfers, bands, scores, sources, rejects, calibrations, settings):
    """Give a function that builds the page, tables changed at will."""

    def build(**changes):
        inputs = {
            "golfers": golfers, "bands": bands, "scores": scores, "sources": sources, "rejects": rejects,
            "calibrations": calibrations, "images": {name: name.encode() for name in NAMES},
            "card": "Fitted on <b>60</b> golfers.", "settings": settings,
        }  # fmt: skip
        return build_page(**(inputs | changes))

    return build


def section(text, start, end):
    return text[text.index(start) : text.index(end)]


def test_page_lists_the_flagged_of_the_newest_quarter_worst_first(page, golfers):
    text = page()

    flagged = golfers.filter(pl.col("flagged") & (pl.col("quarter") == "2026Q3"))
    worst_first = flagged.sort("lost_yd", descending=True)["golfer"].to_list()
    assert len(worst_first) == 11
    assert re.findall(r"g[0-9a-f]{16}", text) == worst_first


def test_page_counts_golfers(page):
    text = page()

    assert "<b>44</b>golfers" in text
    assert "<b>40</b>assessed" in text
    assert "<b>11</b>flagged" in text
    assert "<b>4</b>not assessed" in text


def test_text_of_logs_and_card_is_escaped(page):
    text = page()

    assert "<script" not in text
    assert "the column &lt;script&gt;alert(1)&lt;/script&gt; is not there" in text
    assert "Fitted on &lt;b&gt;60&lt;/b&gt; golfers." in text


def test_page_needs_no_other_file_and_no_network(page):
    text = page()

    assert {source.partition(",")[0] for source in re.findall(r'\bsrc="([^"]*)"', text)} == {"data:image/png;base64"}
    assert re.findall(r"\bhref=|https?://|@import|url\(", text) == []


def test_figures_are_in_the_page_byte_for_byte(page):
    found = re.findall(r'src="data:image/png;base64,([^"]*)"', page())

    assert sorted(base64.b64decode(data).decode() for data in found) == sorted(NAMES)


def test_every_figure_has_a_text_for_those_who_cannot_see_it(page):
    assert len(re.findall(r'<img src="[^"]+" alt="[A-Z][^"]{30,}">', page())) == 7


def test_page_tells_bands_scores_and_rejects(page):
    text = page()

    bands = section(text, "<h2>Speed bands", "Earlier quarters")
    assert "suppressed (fewer than 5 golfers)" in bands
    assert ">2100 to 3000<" in bands
    assert "no window | too few deliveries" in bands
    assert "Chosen: second order." in text
    assert "off by 8.1 yd" in text
    quality = section(text, "<h2>Quality of the data", "<h2>Cautions")
    assert "2 logs, 1 of them refused. Of 1000 rows, 980 were accepted,\n14 rejected and 6 left out" in quality
    assert ">speed ratio too high<" in quality


def test_page_shows_carry_and_run_in_a_table_of_its_own(page):
    bands = section(page(), "<h2>Speed bands", "Earlier quarters")

    carry, _, total = bands.partition("<h3>Carry and run together")
    assert ">1950 to 2900<" in total
    assert ">10.2 to 14.5<" in total
    assert "Total, 25th percentile, yd" in total
    assert "Total, 25th percentile, yd" not in carry
    assert ">2100 to 3000<" not in total
    assert total.count("suppressed (fewer than 5 golfers)") == 1


def test_page_tells_which_flight_moved_carry_and_what_the_run_rests_on(page):
    flight = " ".join(section(page(), "<h2>Ball flight", "<h2>How good the model is").split())

    assert (
        "with the coefficient set ridge-1990, the published set whose flights lie nearest to the study's drives, "
        "fitted to 1900 of them by 83 golfers: drag times 0.928 (standard error 0.002) and lift "
        "times 1.014 (standard error 0.004)."
    ) in flight
    assert "It assumes a fairway with firm turf, whose values are assumptions, not measurements" in flight
    assert flight.index(">ridge-1990<") < flight.index(">flat-air<")


def test_page_tells_a_set_that_the_study_names(page, settings):
    settings["flight"] = {"coefficients": "ridge-1990", "turf": "soft"}

    flight = " ".join(section(page(settings=settings), "<h2>Ball flight", "<h2>How good the model is").split())

    assert (
        "the coefficient set ridge-1990, named in study.yaml and fitted to the study's drives, 1900 of them" in flight
    )
    assert "It assumes a fairway with soft turf" in flight


def test_page_does_not_call_a_published_set_fitted(page, calibrations):
    unknown = pl.lit(None, dtype=pl.Float64)
    table = calibrations.with_columns(
        drag_std_error=unknown, lift_std_error=unknown, note=pl.lit("not calibrated: 9 drives")
    )

    flight = " ".join(section(page(calibrations=table), "<h2>Ball flight", "<h2>How good").split())

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

    assert "more than 12.5 yd below" in text
    assert "needs 17 drives" in text
    assert "5 % of the flags" in text


def test_page_without_flags_says_so(page, golfers):
    clear = golfers.filter(pl.col("status") != "flagged")

    text = page(golfers=Golfers.validate(clear))

    assert "No golfer is flagged in this quarter." in text
    assert "Main causes" not in text
    assert re.findall(r"g[0-9a-f]{16}", text) == []


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
    assert count_golfers(golfers, "2026Q2") == {"all": 24, "assessed": 22, "flagged": 6, "not_assessed": 2}
    assert sum(count for _, count in count_causes(golfers, "2026Q3")) == 11
    assert count_causes(golfers, "2026Q3")[0] == ("launch", 3)


def write(study_files, figure_paths, settings, target):
    names = ("golfers", "bands", "scores", "sources", "rejects", "calibrations", "card")
    tables = {name: study_files[name] for name in names}
    write_report.run(**tables, figures=figure_paths, page=str(target), settings=settings)
    return target.read_text(encoding="utf-8")


def test_step_puts_the_png_files_into_the_page(tmp_path, study_files, figure_paths, settings):
    (tmp_path / "figures").mkdir()
    for path in figure_paths:
        Path(path).write_bytes(Path(path).name.encode())

    text = write(study_files, figure_paths, settings, tmp_path / "report" / "academy.html")

    found = [base64.b64decode(data).decode() for data in re.findall(r"base64,([^\"]*)", text)]
    assert sorted(found) == sorted(f"{name}.png" for name in NAMES)
    assert text == write(study_files, figure_paths, settings, tmp_path / "again.html")


def test_missing_figure_file_is_told_plainly(tmp_path, study_files, figure_paths, settings):
    with pytest.raises(UserError, match=r"carry_by_speed\.png: the file is missing"):
        write(study_files, figure_paths, settings, tmp_path / "academy.html")
