"""Pages opened from a file in headless Chromium with the network off, for all tests of pages.

A page must be quiet: no request but for the file itself, nothing on the console. The fixture checks it at the end of
every test. The browser is the system's, or else the one that `playwright install chromium` leaves. Where there is none,
these tests are skipped; CI takes that for a failure.
"""

import shutil
import time
from dataclasses import dataclass, field
from typing import Any

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome")


@dataclass
class Opened:
    """An open page with everything that it asked for and complained of."""

    page: Any
    url: str
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def beyond_the_file(self):
        # Pictures inside the page have data: addresses, which leave the machine as little as the file does.
        return [url for url in self.requests if url != self.url and not url.startswith("data:")]


@pytest.fixture(scope="module")
def chromium():
    """Start one browser for a module's tests; Playwright can't be started twice at a time."""
    playwright = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
    with playwright.sync_playwright() as started:
        own = started.chromium.executable_path
        path = next(filter(None, map(shutil.which, (*NAMES, own))), None)
        if path is None:
            pytest.skip("no Chromium on this machine: install it, or run `playwright install chromium`")
        browser = started.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def open_page(chromium):
    """Give a function that opens a file at a size in CSS pixels; pages that weren't quiet fail at the end."""
    opened = []
    contexts = []

    def open_file(path, width=1200, height=900, **settings):
        context = chromium.new_context(viewport={"width": width, "height": height}, offline=True, **settings)
        contexts.append(context)
        seen = Opened(context.new_page(), path.resolve().as_uri())
        opened.append(seen)
        context.route("**/*", lambda route: route.continue_() if route.request.url == seen.url else route.abort())
        seen.page.on("request", lambda request: seen.requests.append(request.url))
        seen.page.on("console", lambda message: seen.complaints.append(f"{message.type}: {message.text}"))
        seen.page.on("pageerror", lambda error: seen.complaints.append(str(error)))
        seen.page.goto(seen.url)
        return seen

    yield open_file
    for context in contexts:
        context.close()
    assert [url for seen in opened for url in seen.beyond_the_file()] == []
    assert [text for seen in opened for text in seen.complaints] == []


def wait_for_text(place, text):
    """Wait until an element holds a text, up to five seconds."""
    from playwright.sync_api import expect

    expect(place).to_contain_text(text)


def wait_until(page, expression, *, longest_s=30):
    """Wait until an expression holds on a page.

    Playwright's own wait evaluates a text inside the page when it doesn't hold at once; our pages' policy forbids that.
    """
    ends = time.monotonic() + longest_s
    while not page.evaluate(expression):
        assert time.monotonic() < ends, f"after {longest_s} s this didn't hold: {expression}"
        page.wait_for_timeout(50)


def serious_findings(page):
    """Audit a page as it stands with axe-core: rule, gravity and places of each serious or critical finding."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page).response["violations"]
    return [
        (rule["id"], rule["impact"], [node["target"] for node in rule["nodes"]])
        for rule in found
        if rule["impact"] in ("serious", "critical")
    ]
