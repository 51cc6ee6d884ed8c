"""Names on the academy's page: shown wherever a code stood, held in memory alone, and gone when they should be."""

import json

import pytest
from academy_pages import (  # noqa: F401
    academy_file,
    golfers_of,
    names_file,
    names_of,
    payload,
    rows_shown,
    table_ready,
    view,
)
from browser import chromium, open_page, serious_findings  # noqa: F401
from test_academy_page import DESK, PHONE, printed

# ruff: noqa: F811 - fixtures that are imported above and asked for below
STORED = """async () => {
  const bases = await indexedDB.databases();
  return {
    local: Object.entries(localStorage), session: Object.entries(sessionStorage), bases: bases.map(({ name }) => name),
    cookies: document.cookie, title: document.title, state: history.state, name: window.name,
    addresses: navigation.entries().map(({ url }) => url),
  };
}"""


@pytest.fixture
def named(open_page, academy_file, names_file):
    """Give a function that opens the page and loads names as a person does."""

    def open_named(size=DESK):
        seen = open_page(academy_file, *size, accept_downloads=True)
        seen.page.locator("#names-file").set_input_files(str(names_file))
        seen.page.locator("#names-warning").wait_for()
        return seen

    return open_named


def first_name(payload):
    golfer = payload["quarter"]["first"][0]["golfer"]
    return golfer, names_of(payload)[golfer]


def held_names(text, payload):
    return [name for name in names_of(payload).values() if name in text]


def walk(page, payload):
    """Look at everything with names: search by a name, sort, filter, open a golfer, come back."""
    golfer, name = first_name(payload)
    view(page, "#golfers")
    table_ready(page)
    page.locator("#search").fill(name)
    page.locator(".tabulator-col[tabulator-field=golfer]").click()
    page.locator("#filter-status").select_option("flagged")
    page.locator(f"#golfers-table a[href='#golfer/{golfer}']").click()
    page.wait_for_timeout(200)
    page.go_back()
    table_ready(page)


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_names_stand_where_codes_stood(named, payload, size):
    page = named(size).page
    names, shorts = names_of(payload), {row["short"] for row in golfers_of(payload).values()}

    said = page.locator("#view").inner_text()
    links = page.locator(".first li a").all_inner_texts()
    assert links == [names[one["golfer"]] for one in payload["quarter"]["first"]]
    assert first_name(payload)[1] in page.locator(".sentences").inner_text()
    assert [short for short in shorts if short in said] == []
    view(page, "#golfers")
    assert {golfer: cells["golfer"] for golfer, cells in rows_shown(page).items()} == names
    view(page, f"#golfer/{first_name(payload)[0]}")
    assert first_name(payload)[1] in page.locator("#view h1").inner_text()
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    assert serious_findings(page) == []


def test_names_are_sorted_and_found_without_accents_or_case(named, payload):
    page = named().page
    names = names_of(payload)
    view(page, "#golfers?sort=golfer&dir=asc")

    shown = [cells["golfer"] for cells in rows_shown(page).values()]
    assert shown[0] == "Åse Example"
    assert sorted(shown) == sorted(names.values())

    page.locator("#search").fill("zoe")
    assert [cells["golfer"] for cells in rows_shown(page).values()] == ["Zoë Example-With-A-Name-Of-Forty-Letters"]


def test_nothing_in_the_browser_keeps_a_name(named, payload):
    seen = named()
    walk(seen.page, payload)

    stored = seen.page.evaluate(STORED)

    assert held_names(json.dumps(stored, ensure_ascii=False), payload) == []
    assert (stored["local"], stored["session"], stored["bases"], stored["cookies"], stored["state"]) == (
        [],
        [],
        [],
        "",
        None,
    )
    assert seen.page.context.cookies() == []
    assert held_names(json.dumps(seen.page.context.storage_state(), ensure_ascii=False), payload) == []
    assert seen.beyond_the_file() == []
    assert len(stored["addresses"]) > 2


def test_nothing_that_a_browser_writes_to_disk_holds_a_name(chromium, academy_file, names_file, payload, tmp_path):
    """A profile of its own, closed and then read byte by byte: history, caches, sessions, whatever there is."""
    folder = tmp_path / "profile"
    context = chromium.browser_type.launch_persistent_context(
        folder, executable_path=_path_of(chromium), args=["--no-sandbox"], offline=True, viewport=None
    )
    page = context.new_page()
    page.goto(academy_file.as_uri())
    page.locator("#names-file").set_input_files(str(names_file))
    page.locator("#names-warning").wait_for()
    walk(page, payload)
    page.wait_for_timeout(1500)
    context.close()

    files = [path for path in folder.rglob("*") if path.is_file() and not path.is_symlink()]
    found = b"\n".join(path.read_bytes() for path in files)
    # The profile does keep where the browser was: the history is among what is read.
    assert academy_file.name.encode() in found
    wanted = [name for name in names_of(payload).values() if "Example-With" in name or name.startswith("Person")]
    assert len(wanted) > 40
    assert [name for name in wanted if name.encode() in found or name.encode("utf-16-le") in found] == []


def _path_of(browser):
    import shutil

    from browser import NAMES

    return next(filter(None, map(shutil.which, NAMES)), browser.browser_type.executable_path)


def test_the_page_says_that_saving_and_printing_keep_names_and_both_do(named, payload):
    page = named().page

    warning = page.locator("#names-warning").inner_text()

    assert "Printing it, or saving it from the browser's menu, keeps them." in warning
    assert len(held_names(page.evaluate("document.documentElement.outerHTML"), payload)) > 5
    assert first_name(payload)[1] in printed(page)[1]


@pytest.mark.parametrize("fragment", ["#quarter", "#golfers?cause=launch", "a golfer"])
def test_saved_without_names_the_page_is_the_file_as_it_came(named, academy_file, payload, tmp_path, fragment):
    page = named().page
    walk(page, payload)
    view(page, f"#golfer/{first_name(payload)[0]}" if fragment == "a golfer" else fragment)

    with page.expect_download() as told:
        page.locator("#names-save").click()
    told.value.save_as(tmp_path / "saved.html")

    assert told.value.suggested_filename == "academy.html"
    assert (tmp_path / "saved.html").read_bytes() == academy_file.read_bytes()


def test_forgotten_names_are_gone_and_so_are_those_of_a_page_loaded_again(named, payload):
    page = named().page
    walk(page, payload)
    view(page, "#quarter")

    page.locator("#names-forget").click()

    assert held_names(page.evaluate("document.documentElement.outerHTML"), payload) == []
    assert page.locator("#names-held").is_hidden()
    shorts = {golfer: row["short"] for golfer, row in golfers_of(payload).items()}
    assert page.locator(".first li a").first.inner_text() == shorts[first_name(payload)[0]]
    view(page, "#golfers")
    assert held_names(json.dumps(list(rows_shown(page).values()), ensure_ascii=False), payload) == []
    assert page.locator("#search").input_value() == ""


def test_loading_the_page_again_forgets_names(named, payload):
    page = named().page
    walk(page, payload)
    page.reload()
    table_ready(page)
    assert held_names(page.evaluate("document.documentElement.outerHTML"), payload) == []
    assert page.locator("#search").input_value() == ""


DROP = """([text, name]) => {
  const data = new DataTransfer();
  data.items.add(new File([text], name, { type: "text/csv" }));
  document.body.dispatchEvent(new DragEvent("drop", { dataTransfer: data, bubbles: true, cancelable: true }));
}"""


def test_a_dropped_file_brings_names(open_page, academy_file, payload, names_file):
    page = open_page(academy_file, *DESK).page
    page.evaluate(DROP, [names_file.read_text(encoding="utf-8"), "names.csv"])
    page.locator("#names-warning").wait_for()
    assert page.locator(".first li a").first.inner_text() == first_name(payload)[1]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("a,b\n1,2\n", "holds no names"),
        ("golfer,name\n", "holds no names"),
        ("golfer,name\ngffff,Person\n", "None of those"),
    ],
)
def test_a_file_without_names_is_refused_in_words(open_page, academy_file, text, told):
    page = open_page(academy_file, *DESK).page
    page.evaluate(DROP, [text, "x.csv"])
    page.locator("#names-told").wait_for()
    assert told in page.locator("#names-told").inner_text()
    assert page.locator("#names-forget").is_hidden()
