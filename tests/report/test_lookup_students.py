"""Students on the coach's page: files read, students found, and nothing of them left anywhere, in real Chromium."""

import json
from pathlib import Path

import polars as pl
import pytest
from browser import wait_for_text, wait_until
from lookups import FIELDS, asked_of_package, read_off
from rows import table_of

from pipeline.benchmark.lookup_command import Asked, read_results
from pipeline.tables.golfers import Golfers

CODES = ["g84ba2bd81debddab", "g11aa22bb33cc44dd", "gfedcba9876543210"]
NAMES = ["Ångström, Zoë", 'O"Neil "Bo" Li', "Maximiliane von und zu Hohenfels-Waldeck 3rd"]
# What no place may hold: names whole and in part, codes, and the figures that a student put into the fields.
SECRETS = ["Ångström", "Zoë", "Neil", "Hohenfels", *CODES, "97.3741", "141.9321", "13.6812", "2712.34"]
TYPED = ["243.217", "2777.31"]
PHONE = {"width": 390, "height": 844, "has_touch": True, "is_mobile": True}
# The model's own digits are no student's, so the scripts are left out.
MARKUP = """(() => { const copy = document.documentElement.cloneNode(true);
  copy.querySelectorAll("script").forEach((one) => one.remove()); return copy.outerHTML; })()"""
EVERYWHERE = """async () => JSON.stringify({
  local: { ...localStorage }, session: { ...sessionStorage }, cookies: document.cookie, address: location.href,
  state: history.state, length: history.length, title: document.title, name: window.name,
  databases: await indexedDB.databases(), markup: MARKUP,
  caches: window.caches ? await caches.keys().catch(() => []) : [],
})""".replace("MARKUP", MARKUP)


@pytest.fixture
def files(tmp_path):
    """Write both files of three students; the first has two quarters."""
    quarters = pl.DataFrame(
        {
            "golfer": [CODES[0], CODES[0], CODES[1], CODES[2]],
            "quarter": ["2026Q3", "2026Q2", "2026Q3", "2026Q3"],
            "shots": [30, 30, 30, 30],
            "club_speed_mph": [97.3741, 90.0, 88.0, 101.0],
            "ball_speed_mph": [141.9321, 130.0, None, 148.0],
            "launch_deg": [13.6812, 10.0, 14.0, 13.0],
            "spin_rpm": [2712.34, 3300.0, 2600.0, None],
            "carry_yd": [221.0, 200.0, 205.0, 240.0],
            "efficient_yd": [238.0, 219.0, 214.0, 247.0],
            "lost_yd": [17.0, 19.0, 9.0, 7.0],
            "lost_lo90_yd": [12.0, 14.0, 4.0, 2.0],
            "lost_hi90_yd": [22.0, 24.0, 14.0, 12.0],
            "lost_contact_yd": [17.0, 19.0, 9.0, 7.0],
            **dict.fromkeys(["lost_launch_yd", "lost_spin_yd", "lost_consistency_yd", "lost_other_yd"], [0.0] * 4),
            "p_value": [0.001] * 4,
            "q_value": [0.01] * 4,
            "own_difference_yd": [0.4, 0.4, 0.4, 0.4],
            "flagged": [True, True, False, False],
            "status": ["flagged", "flagged", "clear", "clear"],
            "note": [None, None, "short, of shots", None],
        }
    )
    table_of(Golfers, quarters).write_csv(tmp_path / "golfers.csv")
    rows = pl.DataFrame({"golfer": CODES, "name": NAMES})
    (tmp_path / "names.csv").write_bytes(b"\xef\xbb\xbf" + rows.write_csv().encode())
    return [tmp_path / "golfers.csv", tmp_path / "names.csv"]


@pytest.fixture
def opened(open_page, lookup_folder):
    return open_page(lookup_folder("flight") / "report/lookup.html", **PHONE)


def take_files(page, paths):
    page.evaluate("document.getElementById('students').open = true")
    page.set_input_files("#files", [str(path) for path in paths])


def find(page, text):
    page.fill("#find", text)
    return page.evaluate("[...document.querySelectorAll('.hit')].map((hit) => hit.value)")


def test_both_files_at_once_and_three_letters_find_a_student(opened, files):
    page = opened.page
    take_files(page, files)
    wait_for_text(page.locator("#students-count"), "3 students, 3 with a name.")
    assert find(page, "an") == []
    assert find(page, "ang") == [NAMES[0]]
    assert find(page, "ZOE") == [NAMES[0]]
    assert find(page, "hoh") == [NAMES[2]]
    assert find(page, "84b") == [NAMES[0]]
    assert find(page, "xyz") == []
    wait_for_text(page.locator("#found-count"), "Nobody here is called that.")


@pytest.mark.parametrize("order", [[0, 1], [1, 0]])
def test_files_may_come_one_after_another(opened, files, order):
    page = opened.page
    take_files(page, [files[order[0]]])
    wait_for_text(page.locator("#students-count"), "3 ")
    take_files(page, [files[order[1]]])
    wait_for_text(page.locator("#students-count"), "3 students, 3 with a name.")
    assert find(page, "neil") == [NAMES[1]]


def test_without_names_codes_are_found(opened, files):
    page = opened.page
    take_files(page, files[:1])
    wait_for_text(page.locator("#students-count"), "3 students, 0 with a name.")
    assert find(page, "gfe") == [CODES[2]]
    assert find(page, "fed") == [CODES[2]]


def test_a_file_of_another_kind_is_left_out_in_words(opened, files, tmp_path):
    (tmp_path / "other.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    page = opened.page
    take_files(page, [tmp_path / "other.csv", files[0]])
    wait_for_text(page.locator("#students-count"), "A file was left out")
    wait_for_text(page.locator("#students-count"), "3 students")


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ('a,b\n1,"x, ""y"""\n', [["a", "b"], ["1", 'x, "y"']]),
        ('\ufeffa,b\r\n1,"two\nlines"\r\n\r\n', [["a", "b"], ["1", "two\nlines"]]),
        ("a;b\n1;x,y", [["a", "b"], ["1", "x,y"]]),
        ("a,b\n1,\n", [["a", "b"], ["1", ""]]),
        ("", []),
    ],
)
def test_csv(opened, text, rows):
    assert opened.page.evaluate("(text) => csvRows(text)", text) == rows


def test_a_file_in_an_old_code_page_is_read(opened):
    found = opened.page.evaluate("(bytes) => decodedText(new Uint8Array(bytes))", list("Zoë".encode("cp1252")))
    assert found == "Zoë"


def test_the_newest_quarters_delivery_fills_the_fields(opened, files, lookup_folder):
    page = opened.page
    take_files(page, files)
    assert find(page, "zoe") == [NAMES[0]]
    page.locator(".hit").tap()
    assert [page.locator(f"#{field}").input_value() for field in FIELDS] == ["97.4", "141.9", "13.7", "2712"]
    assert page.locator("#who").input_value() == NAMES[0]
    assert page.locator("#stamp").inner_text() == "97.4 mph, 2026 Q3"
    # The full figures stand behind what is written.
    asked = dict(zip(FIELDS, (97.3741, 141.9321, 13.6812, 2712.34), strict=True))
    right = asked_of_package(read_results(lookup_folder("flight"), Asked()), asked)
    assert read_off(page)["values"]["expected_carry"] == pytest.approx(right["expected_carry_yd"], abs=1e-5)


def test_a_goal_is_the_golfers_row_until_the_delivery_is_changed(opened, files):
    page = opened.page
    take_files(page, files)
    find(page, "zoe")
    page.locator(".hit").tap()
    page.locator("label:has(input[value=takes])").tap()
    page.fill("#goal", "245")

    def plan():
        wait_until(page, "document.getElementById('results').dataset.shown === 'answer'")
        return page.evaluate("state.plan")

    own = plan()
    assert (own["golfer"], own["quarter"], own["club_speed_mph"]) == (CODES[0], "2026Q3", 97.3741)
    assert own["present_yd"] == pytest.approx(221.0)  # mean carry of the row
    page.fill("#club", "99")
    faster = plan()
    assert (faster["golfer"], faster["club_speed_mph"]) == (CODES[0], 99)
    page.fill("#spin", "3000")
    assert plan()["golfer"] is None


def test_what_is_not_known_of_a_student_stays_empty(opened, files):
    page = opened.page
    take_files(page, files)
    find(page, "hoh")
    page.locator(".hit").tap()
    assert [page.locator(f"#{field}").input_value() for field in FIELDS] == ["101", "148", "13", ""]


def traces_of(page):
    """Look wherever a browser keeps something, the page's markup and the file of a saved page among them."""
    talk = page.context.new_cdp_session(page)
    saved = talk.send("Page.captureSnapshot", {"format": "mhtml"})["data"]
    with page.expect_download() as waited:
        page.evaluate("savePage()")
    kept = Path(waited.value.path()).read_text(encoding="utf-8")
    state = json.dumps(page.context.storage_state())
    return {"page": page.evaluate(EVERYWHERE), "browser": saved, "our own": kept, "state": state}


def test_nothing_of_a_student_is_stored_sent_linked_or_saved(opened, files):
    page = opened.page
    page.fill("#club", "95")  # typed before: this is kept, and must be all that is
    take_files(page, files)
    find(page, "zoe")
    page.locator(".hit").tap()
    page.locator("label:has(input[value=takes])").tap()
    page.fill("#goal", TYPED[0])
    page.locator("label:has(input[value=metres])").tap()
    page.locator("label:has(input[value=yards])").tap()
    page.locator("#wind").evaluate("(one) => { one.closest('details').open = true; }")
    page.fill("#wind", "11")
    page.fill("#spin", TYPED[1])
    page.locator("#keep summary").tap()
    page.locator("#copy").tap()
    wait_for_text(page.locator("#copy-said"), "No link while a student is open")
    page.wait_for_timeout(1200)  # what a screen reader hears has been said
    for place, text in traces_of(page).items():
        assert [one for one in [*SECRETS, *TYPED] if one in text] == [], place
    assert [one for one in ("141.9", "2712", "2777") if one in page.evaluate(MARKUP)] == []  # as the fields write them
    assert '\\"club\\":95' in page.evaluate(EVERYWHERE)
    assert [url for url in opened.requests if url != opened.url and not url.startswith("blob:")] == []
    opened.requests[:] = [url for url in opened.requests if not url.startswith("blob:")]  # the saving itself

    page.wait_for_timeout(1000)  # a busy browser may hand its storage to the next page late
    page.reload()
    assert page.locator("#who").is_hidden()
    assert page.locator("#club").input_value() == "95", page.evaluate(EVERYWHERE)
    assert page.locator("#spin").input_value() == ""
    assert page.evaluate("roster.golfers.size + roster.names.size") == 0


def test_one_tap_forgets_students_and_what_they_filled_in(opened, files):
    page = opened.page
    take_files(page, files)
    find(page, "zoe")
    page.locator(".hit").tap()
    page.locator("#forget").tap()
    assert [page.locator(f"#{field}").input_value() for field in FIELDS] == [""] * 4
    assert page.evaluate("[roster.golfers.size, roster.names.size]") == [0, 0]
    assert page.evaluate("[state.student, state.isPrivate]") == [None, False]
    held = page.evaluate(
        "[...document.querySelectorAll('input')].map((one) => one.value).join() + JSON.stringify(state) + " + MARKUP
    )
    assert [one for one in [*SECRETS, *NAMES] if one in held] == []
    assert page.locator("#forget").is_hidden()
    page.fill("#club", "97")
    page.reload()
    assert page.locator("#club").input_value() == "97"


def test_the_next_drive_keeps_the_files_and_forgets_the_student(opened, files):
    page = opened.page
    take_files(page, files)
    find(page, "zoe")
    page.locator(".hit").tap()
    page.locator("#clear").tap()
    assert page.locator("#who").input_value() == ""
    assert find(page, "hoh") == [NAMES[2]]


def test_a_student_is_taken_by_keyboard(open_page, lookup_folder, files):
    page = open_page(lookup_folder("flight") / "report/lookup.html").page
    take_files(page, files)
    wait_for_text(page.locator("#students-count"), "3 students")
    assert page.evaluate("document.activeElement.id") == "find"
    page.keyboard.type("zoe")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.value") == NAMES[0]
    page.keyboard.press("Enter")
    assert page.locator("#who").input_value() == NAMES[0]


def test_two_thousand_golfers_are_searched_without_a_wait(opened, tmp_path):
    lines = ["golfer,name", *(f"g{index:016x},Name{index:04d} Surname{index % 97}" for index in range(2000))]
    (tmp_path / "names.csv").write_text("\n".join(lines), encoding="utf-8")
    header = "golfer,quarter,club_speed_mph,ball_speed_mph,launch_deg,spin_rpm"
    rows = [header, *(f"g{index:016x},2026Q3,97,141,13,2700" for index in range(2000))]
    (tmp_path / "golfers.csv").write_text("\n".join(rows), encoding="utf-8")
    page = opened.page
    take_files(page, [tmp_path / "names.csv", tmp_path / "golfers.csv"])
    wait_for_text(page.locator("#students-count"), "2,000 students, 2,000 with a name.")
    assert len(find(page, "surname7")) == 6
    wait_for_text(page.locator("#found-count"), "Type more letters.")
    spent = page.evaluate("(() => { const from = performance.now(); showFound(); return performance.now() - from; })()")
    assert spent < 200
