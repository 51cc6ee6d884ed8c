import io
import re

import polars as pl
import pytest
from browser import serious_findings
from coach_tables import changed, sheet_tables
from pypdf import PdfReader
from small_academy import FEW_DRIVES, SETTINGS, Academy

from pipeline.coach.practice.practice import SPEED_PRACTICE_CAUTIONS
from pipeline.report.sheet import write_sheets
from pipeline.report.sheet.sheets import INDEX, MOST_QUARTERS, sheet_name
from pipeline.report.shown_sums import shown_losses
from pipeline.shown import number_text
from pipeline.tables.goals import Goals
from pipeline.tables.golfers import Golfers
from pipeline.tables.practice import Practice
from pipeline.tables.progress import Progress

A4_POINTS = (595, 842)


def text_of(page, name):
    """Give the text of the element with this id, without markup and doubled spaces."""
    found = re.search(rf'<(\w+)[^>]* id="{name}"[^>]*>(.*?)</\1>', page, flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]*>", " ", found.group(2)).split())


def drawn_text(page, name):
    """Give what a drawing's description says."""
    return re.search(rf'<desc id="{name}-d">(.*?)</desc>', page).group(1)


def worst(academy: Academy, cause="launch"):
    flagged = academy.golfers.filter(pl.col("flagged") & (pl.col("quarter") == "2026Q3"))
    return flagged.filter(pl.col("main_cause").cast(pl.String) == cause).row(0, named=True)


@pytest.fixture(scope="module")
def every(academy):
    return academy.sheets("all")


def test_figures_on_every_sheet_are_those_of_the_table(academy, every):
    for row in academy.golfers.iter_rows(named=True):
        page = every[sheet_name(row["golfer"], row["quarter"])]
        assert text_of(page, "shots") == str(row["shots"])
        assert text_of(page, "status") == row["status"].replace("_", " ")
        for name in ("club_speed_mph", "ball_speed_mph", "carry_yd", "efficient_yd"):
            assert text_of(page, name) == number_text(row[name]), name
        carry, efficient, lost = (int(text_of(page, name)) for name in ("carry_yd", "efficient_yd", "lost_yd"))
        assert efficient - carry == lost == pytest.approx(row["lost_yd"], abs=1)
        assert text_of(page, "interval") == f"{number_text(row['lost_lo90_yd'])} to {number_text(row['lost_hi90_yd'])}"


def test_parts_on_a_sheet_are_those_of_the_table(academy, every):
    names = ("contact", "launch", "spin", "consistency", "other")
    assessed = academy.golfers.filter(pl.col("status").cast(pl.String) != "not_assessed")
    for row in assessed.iter_rows(named=True):
        page = every[sheet_name(row["golfer"], row["quarter"])]
        told = text_of(page, "parts-text")
        parts = dict(re.findall(r"(\w+) (-?\d+) yd", told.lower().partition(";")[0]))
        assert list(parts) == list(names)
        lost = int(text_of(page, "lost_yd"))
        assert sum(map(int, parts.values())) == lost
        assert told.endswith(f"; together {lost} yd. Below 0 is a gain.")
        for name, text in parts.items():
            assert abs(int(text) - row[f"lost_{name}_yd"]) < 1.2
        assert [text for name, text in re.findall(r"(\w+) (-?\d+)", drawn_text(page, "parts"))] == list(parts.values())


def test_band_on_a_sheet_is_that_of_the_band_table(academy, every):
    row = worst(academy)
    page = every[sheet_name(row["golfer"], "2026Q3")]
    centre = 10.0 * ((row["club_speed_mph"] + 5) // 10)
    band = academy.bands.filter((pl.col("quarter") == "2026Q3") & (pl.col("band_mph") == centre)).row(0, named=True)
    drawn = re.search(r'<desc id="standing-d">(.*?)</desc>', page).group(1)
    own = academy.moved.filter((pl.col("golfer") == row["golfer"]) & (pl.col("quarter") == "2026Q3"))["moved_yd"][0]
    told = [(p, band[f"carry_p{p}_yd"]) for p in (25, 50, 75, 90) if band[f"carry_p{p}_yd"] is not None]
    percentiles = ", ".join(f"{p}th percentile {number_text(value)}" for p, value in told)
    efficient = number_text(band["efficient_carry_yd"])
    assert drawn == f"this golfer {number_text(own)}, {percentiles}, efficient carry {efficient} yd"
    assert f"Among the {band['golfers']} golfers of the {centre:g} mph band" in text_of(page, "standing-text")


def test_percentiles_of_a_suppressed_band_are_on_no_sheet(academy, every):
    low, high = pl.col("club_speed_mph") >= 85, pl.col("club_speed_mph") < 95
    hidden = academy.golfers.filter(low & high & (pl.col("quarter") == "2026Q2"))
    assert hidden.height == 3
    for golfer in hidden["golfer"]:
        page = every[sheet_name(golfer, "2026Q2")]
        assert "has fewer than 5 golfers, so its percentiles are not shown" in text_of(page, "standing-text")
        assert "th percentile" not in page


def test_no_other_golfer_is_on_a_sheet(every):
    for name, page in every.items():
        if name != INDEX:
            assert set(re.findall(r"g[0-9a-f]{16}", page)) == {name[7:24]}


def test_history_goes_up_to_the_sheets_quarter(academy, every):
    golfer = worst(academy)["golfer"]
    now, before = (text_of(every[sheet_name(golfer, q)], "history-table") for q in ("2026Q3", "2026Q2"))
    rows = academy.golfers.filter(pl.col("golfer") == golfer).sort("quarter")
    lines = [
        f"{r['quarter']} {r['shots']} {number_text(r['club_speed_mph'])} {shown_losses(r)['lost_yd']} "
        f"{r['main_cause']} {r['status']}"
        for r in rows.iter_rows(named=True)
    ]
    assert now.endswith(" ".join(lines))
    assert before.endswith(lines[0])
    assert "2026Q3" not in every[sheet_name(golfer, "2026Q2")]


def test_long_history_is_cut_and_said_so(academy):
    row = academy.golfers.filter(pl.col("golfer") == worst(academy)["golfer"]).filter(pl.col("quarter") == "2026Q3")
    years = [row.with_columns(quarter=pl.lit(f"20{year}Q3")) for year in range(19, 27)]
    page = academy.sheets(golfers=Golfers.validate(pl.concat(years)))[sheet_name(row["golfer"][0], "2026Q3")]
    assert len(re.findall(r'<th class="text" scope="row">20', page)) == MOST_QUARTERS
    assert text_of(page, "change").endswith("2 earlier quarters are not shown.")


def test_unassessed_golfer_has_no_parts_and_no_place(every):
    page = every[sheet_name(FEW_DRIVES, "2026Q3")]
    assert text_of(page, "first").startswith("We can&#39;t say what to work on first: 8 drives")
    assert text_of(page, "parts-text") == "Not assessed, so no parts are shown."
    assert "Too few drives to place this golfer" in text_of(page, "standing-text")
    assert 'not known</td><td class="text">not assessed' in page


def test_sheets_are_for_flagged_golfers_unless_the_switch_says_all(academy, every):
    flagged = {sheet_name(g, q) for g, q in academy.golfers.filter("flagged").select("golfer", "quarter").rows()}
    assert 0 < len(flagged) < academy.golfers.height
    assert set(academy.sheets()) == {*flagged, INDEX}
    assert len(every) == academy.golfers.height + 1


def test_list_links_every_sheet_and_nothing_else(academy):
    made = academy.sheets()
    links = re.findall(r'href="([^"]*)"', made[INDEX])
    assert sorted(links) == sorted(set(made) - {INDEX})
    clear = Golfers.validate(academy.golfers.filter(~pl.col("flagged")))
    assert "No golfer was flagged in any quarter" in academy.sheets(golfers=clear)[INDEX]


def test_back_is_of_the_newest_quarter_alone(academy, every):
    golfer = worst(academy)["golfer"]
    now, before = (every[sheet_name(golfer, quarter)] for quarter in ("2026Q3", "2026Q2"))
    headings = ("Goal", "Speed or delivery first?", "What to change", "Since 2026Q2", "Speed practice")
    assert [f">{heading}</h3>" in now for heading in headings] == [True] * 5
    assert "<h3" not in before
    assert 'class="back"' not in before
    assert 'class="back"' not in every[sheet_name(FEW_DRIVES, "2026Q3")]


def test_change_on_the_front_goes_by_the_verdict_of_progress(academy, every):
    page = every[sheet_name(worst(academy)["golfer"], "2026Q3")]
    assert text_of(page, "change") == (
        "4 yd fewer lost than in 2026 Q2 (90 % interval of the change -6 to -2 yd): better."
    )


def test_sheets_without_speed_logs_tell_of_no_speed_practice(academy):
    made = academy.sheets(coach=sheet_tables(academy.golfers, practice=False))
    page = made[sheet_name(worst(academy)["golfer"], "2026Q3")]
    assert ">What to change</h3>" in page
    assert "Speed practice" not in page


def test_text_never_becomes_markup(academy):
    hostile = "<script>alert(1)</script> {{ 7*7 }}"
    golfers = academy.golfers.with_columns(note=pl.lit(hostile))
    coach = sheet_tables(academy.golfers)
    coach = changed(coach, goals=Goals.validate(coach[Goals].with_columns(note=pl.lit(hostile))))
    made = academy.sheets("all", golfers=Golfers.validate(golfers), coach=coach)
    assert "&lt;script&gt;alert(1)&lt;/script&gt; {{ 7*7 }}." in made[sheet_name(worst(academy)["golfer"], "2026Q3")]
    page = made[sheet_name(FEW_DRIVES, "2026Q3")]
    assert [name for name, text in made.items() if "<script" in text] == []
    assert "&lt;script&gt;alert(1)&lt;/script&gt; {{ 7*7 }}" in page


def test_step_makes_the_folder_whole(academy, tmp_path, monkeypatch):
    paths = academy.write(tmp_path)
    used = {name: paths[name] for name in ("frontier", "drives", "model", "flight_tables")}
    used["tables"] = [
        paths[name] for name in ("golfers", "bands", "goals", "priorities", "delivery", "progress", "practice")
    ]
    folder = tmp_path / "golfers" / "sheets"
    folder.mkdir(parents=True)
    (folder / "old.html").write_text("old", encoding="utf-8")

    write_sheets.run(**used, sheets=str(folder), settings=SETTINGS)

    made = {path.name: path.read_text(encoding="utf-8") for path in folder.iterdir()}
    assert set(made) == set(academy.sheets())
    assert made == academy.sheets()
    assert [path.name for path in folder.parent.iterdir()] == ["sheets"]

    def broken(**_):
        yield "one.html", "half"
        raise RuntimeError("stopped half way")

    monkeypatch.setattr(write_sheets, "build_sheets", broken)
    with pytest.raises(RuntimeError):
        write_sheets.run(**used, sheets=str(folder), settings=SETTINGS)
    assert {path.name for path in folder.iterdir()} == set(made)
    assert [path.name for path in folder.parent.iterdir()] == ["sheets"]


@pytest.fixture(scope="module")
def written(every, tmp_path_factory):
    folder = tmp_path_factory.mktemp("sheets")
    for name, page in every.items():
        (folder / name).write_text(page, encoding="utf-8")
    return folder


def some(academy):
    """Pick a flagged sheet, one of a suppressed band, and one that is not assessed."""
    flagged = worst(academy)["golfer"]
    speed = pl.col("club_speed_mph")
    hidden = academy.golfers.filter((speed >= 85) & (speed < 95) & (pl.col("quarter") == "2026Q2"))["golfer"][0]
    return [sheet_name(flagged, "2026Q3"), sheet_name(hidden, "2026Q2"), sheet_name(FEW_DRIVES, "2026Q3")]


def test_sheets_and_list_are_quiet_and_accessible(academy, written, open_page):
    for name in [*some(academy), INDEX]:
        seen = open_page(written / name)
        assert serious_findings(seen.page) == [], name


def test_sheet_does_not_scroll_sideways_on_a_phone(academy, written, open_page):
    for name in [*some(academy), INDEX]:
        page = open_page(written / name, width=390, height=844).page
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, name
        assert serious_findings(page) == [], name


def printed(seen):
    """Print a page; the text of each sheet of paper."""
    pages = PdfReader(io.BytesIO(seen.page.pdf(prefer_css_page_size=True))).pages
    for paper in pages:
        assert (round(float(paper.mediabox.width)), round(float(paper.mediabox.height))) == A4_POINTS
    return [paper.extract_text() for paper in pages]


def test_sheet_prints_the_quarter_on_the_front_and_what_to_work_on_on_the_back(academy, written, open_page):
    backs = {name: printed(open_page(written / name)) for name in some(academy)}

    flagged, hidden, few = backs.values()
    assert len(hidden) == len(few) == 1
    assert len(flagged) == 2
    front, back = flagged
    assert "Where the yards go" in front
    assert "keep them as the law asks" in front
    assert "What to work on:" in back
    assert SPEED_PRACTICE_CAUTIONS[-1].split(" only")[0] in " ".join(back.split())


def with_long_notes(golfers):
    """Give the coach's tables with as long notes as their steps can write."""
    tables = sheet_tables(golfers)
    hardly = pl.lit("; too few drives are that fast to say what speed today's delivery would need")
    device = "another device than before: a part of any change may be the device's; another ball than before: a part "
    device += "of any change may be the ball's; these logs don't show how much days differ: the intervals don't cover "
    device += "a day's form; ball speed is not known in both quarters: contact can't be separated from other"
    tool = "no practice in the 6 weeks before the newest log; driver speed is the light tool's by common practice, "
    tool += "without a source: swing both in one session; no drives in a quarter with practice: speed with a ball may "
    tool += "well differ; 100 of 700 swings look misread: check the device"
    return changed(
        tables,
        goals=tables[Goals].with_columns(pl.col("note") + hardly),
        progress=tables[Progress].with_columns(note=pl.lit(device)),
        practice=tables[Practice].with_columns(note=pl.lit(tool)),
    )


def test_sheet_with_the_longest_history_and_notes_prints_to_two_pages(academy, tmp_path, open_page):
    row = academy.golfers.filter(pl.col("golfer") == worst(academy)["golfer"]).filter(pl.col("quarter") == "2026Q3")
    years = [row.with_columns(quarter=pl.lit(f"20{year}Q3")) for year in range(19, 27)]
    name = sheet_name(row["golfer"][0], "2026Q3")
    path = tmp_path / name
    made = academy.sheets(golfers=Golfers.validate(pl.concat(years)), coach=with_long_notes(academy.golfers))
    path.write_text(made[name], encoding="utf-8")
    front, back = printed(open_page(path))
    assert "2 earlier quarters are not shown." in " ".join(front.split())
    assert back.startswith("What to work on:")
    assert "look misread" in back
