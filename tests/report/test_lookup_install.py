"""The coach's page kept: installed from `yardband serve`, saved as a file, in real Chromium over loopback alone."""

import re

import pytest
from lookups import ask, asked_of_package
from served import PHONE, make_study, served

from pipeline.benchmark.lookup_command import Asked, read_results
from pipeline.serve.shell import KEPT

ASKED = {"club": "97", "ball": "141", "launch": "13.5", "spin": "2700"}
TYPED = ("97.25", "141.75")
CACHES = """async () => Object.fromEntries(await Promise.all((await caches.keys()).map(
  async (name) => [name, (await (await caches.open(name)).keys()).map((request) => request.url)])))"""
IS_ACTIVE = "navigator.serviceWorker.ready.then((found) => found.active.scriptURL)"
STATE = """async () => ({
  links: document.querySelectorAll("link").length, cookies: document.cookie,
  local: { ...localStorage }, databases: (await indexedDB.databases()).length,
})"""


@pytest.fixture
def study(lookup_folder, tmp_path):
    """A study whose coach's page is a real one, to be served from `tmp_path`."""
    page = lookup_folder("flight") / "report/lookup.html"
    report = make_study(tmp_path, lookup=page.read_text(encoding="utf-8"))
    return report / "lookup.html"


@pytest.fixture
def browse(chromium):
    """Give a function that opens an address in a context of its own; pages that asked elsewhere or complained fail."""
    seen = []

    def open_address(address, **settings):
        context = chromium.new_context(**settings)
        page = context.new_page()
        requests, complaints = [], []
        context.on("request", lambda request: requests.append(request.url))
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        seen.append((address, context, requests, complaints))
        page.goto(address)
        return page

    yield open_address
    for address, context, requests, complaints in seen:
        context.close()
        own = address.rpartition("/")[0]
        known = (f"{own}/", f"{own.rpartition('/')[0]}/favicon.ico", "blob:", "about:blank")
        beyond = [url for url in requests if not url.startswith(known)]
        assert beyond == []
        # That the server has gone, or has lost the page, is what some of the tests are about.
        assert [text for text in complaints if not re.search(r"net::ERR|status of 404", text)] == []


def carry_shown(page):
    found = ask(page, ASKED)
    assert found["shown"] == ["answer"]
    return found["values"]["expected_carry"]


def right_carry(lookup_folder):
    folder = lookup_folder("flight")
    asked = {name: float(text) for name, text in ASKED.items()}
    return asked_of_package(read_results(folder, Asked()), asked)["expected_carry_yd"]


def wait_for_caches(page, is_right):
    for _ in range(100):
        found = page.evaluate(CACHES)
        if is_right(found):
            return found
        page.wait_for_timeout(50)
    raise AssertionError(found)


@pytest.mark.usefixtures("study")
def test_once_loaded_it_answers_without_the_server(browse, tmp_path, lookup_folder):
    with served(tmp_path) as server:
        address = server.addresses[1]
        page = browse(address)
        folder = address.rpartition("/")[0]
        assert page.evaluate(IS_ACTIVE) == f"{folder}/lookup_worker.js"
        online = carry_shown(page)
        # Nothing but these is kept, whatever else is asked for.
        page.goto(f"{address}?speed=97")
        page.goto(f"{address}?")
        page.goto(f"{folder}/academy.html")
        page.goto(f"{address}#club=97")
        [kept] = page.evaluate(CACHES).values()
        assert sorted(kept) == sorted(f"{folder}/{name}" for name in KEPT)
        assert server.stop()[0] == 0
    for again in (address, f"{address}#club=97"):
        page.goto("about:blank")
        page.goto(again)
        assert carry_shown(page) == online == pytest.approx(right_carry(lookup_folder), abs=1e-5)
    page.reload()
    assert carry_shown(page) == online
    for beyond in (f"{address}?speed=97", f"{folder}/academy.html", f"{folder}/"):
        with pytest.raises(Exception, match="ERR_CONNECTION_REFUSED"):
            page.goto(beyond)


def test_a_new_runs_page_replaces_the_old_one(browse, study, tmp_path):
    with served(tmp_path) as server:
        page = browse(server.addresses[1])
        page.evaluate(IS_ACTIVE)
        [before] = wait_for_caches(page, len)
        text = study.read_text(encoding="utf-8")
        study.write_text(text.replace("<main>", '<main id="new">'), encoding="utf-8")
        page.reload()
        assert page.locator("#new").count() == 1  # at once, not at the load after
        wait_for_caches(page, lambda found: len(found) == 1 and before not in found)
        server.stop()
    page.reload()
    assert page.locator("#new").count() == 1


def test_where_the_server_has_lost_the_page_the_kept_one_is_shown(browse, study, tmp_path):
    with served(tmp_path) as server:
        page = browse(server.addresses[1])
        page.evaluate(IS_ACTIVE)
        wait_for_caches(page, lambda found: [len(kept) for kept in found.values()] == [len(KEPT)])
        study.unlink()
        page.goto(server.addresses[1])
        assert carry_shown(page) > 100


@pytest.mark.usefixtures("study")
def test_the_browser_would_install_it(browse, tmp_path):
    with served(tmp_path) as server:
        page = browse(server.addresses[1])
        page.evaluate(IS_ACTIVE)
        talk = page.context.new_cdp_session(page)
        found = talk.send("Page.getAppManifest")
        assert found["errors"] == []
        assert found["url"].endswith("/hill-school/lookup.webmanifest")
        assert '"name": "hill-school: how far should this drive go?"' in found["data"]
        problems = [one["errorId"] for one in talk.send("Page.getInstallabilityErrors")["installabilityErrors"]]
        assert [one for one in problems if one != "in-incognito"] == []  # every context of a test is a private one


@pytest.mark.usefixtures("study")
def test_a_phone_without_a_secure_address_is_answered_and_saves(browse, tmp_path, lookup_folder):
    # Over plain http a phone's browser has no workers; Chromium takes every loopback address for secure.
    with served(tmp_path, "--phone", "--address", PHONE) as server:
        context = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
        page = browse(server.addresses[0], **context)
        page.evaluate("delete Navigator.prototype.serviceWorker")
        page.context.add_init_script("delete Navigator.prototype.serviceWorker; delete window.caches;")
        page.goto("about:blank")
        page.goto(server.addresses[0])
        assert page.evaluate("navigator.serviceWorker === undefined")
        assert carry_shown(page) == pytest.approx(right_carry(lookup_folder), abs=1e-5)
        saved = saved_by(page, tmp_path / "from_phone.html")
    secret = server.addresses[0].split("/")[3]
    assert secret not in saved
    assert 'rel="manifest"' not in saved


def saved_by(page, path):
    """Save the page by its own function; give what was saved."""
    with page.expect_download() as waited:
        page.evaluate("savePage()")
    assert waited.value.suggested_filename == "lookup.html"
    waited.value.save_as(path)
    return path.read_text(encoding="utf-8")


def test_a_saved_page_is_the_page_as_it_came(open_page, browse, study, tmp_path, lookup_folder):
    with served(tmp_path) as server:
        page = browse(server.addresses[1])
        from_server = saved_by(page, tmp_path / "from_server.html")
    opened = open_page(study)
    found = ask(opened.page, ASKED | dict(zip(("club", "ball"), TYPED, strict=True)))
    assert found["shown"] == ["answer"]
    from_file = saved_by(opened.page, tmp_path / "from_file.html")
    opened.requests[:] = [url for url in opened.requests if not url.startswith("blob:")]  # the saving itself
    assert from_server == from_file
    for text in (*TYPED, found["written"]["expected_carry"], found["reason"]):
        assert text == "" or text not in from_file.partition("<script")[0]
    written = study.read_text(encoding="utf-8")
    values = [re.findall('value="([^"]*)"', text.partition("<script")[0]) for text in (from_file, written)]
    assert values[0] == values[1]  # those of the choices, and none of what was typed

    again = open_page(tmp_path / "from_file.html")
    assert carry_shown(again.page) == pytest.approx(right_carry(lookup_folder), abs=1e-5)
    assert saved_by(again.page, tmp_path / "saved_again.html") == from_file
    again.requests[:] = [url for url in again.requests if not url.startswith("blob:")]


def test_opened_as_a_file_it_asks_for_nothing_and_keeps_nothing(open_page, study):
    opened = open_page(study)
    assert opened.page.evaluate(STATE) == {"links": 0, "cookies": "", "local": {}, "databases": 0}
    assert opened.beyond_the_file() == []
