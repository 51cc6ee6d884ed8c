"""An academy of hand-made golfers as a page for browser tests, and using that page as a director would."""

import json
import re
from dataclasses import dataclass, field
from typing import Any

import polars as pl
import pytest
from browser import wait_until
from page_cases import FRONTIER, LOW, SETTINGS, SPUN, THIN, WILD, beyond, drives_of, goal, played, progress, tables_of
from whole_pages import page_of, payload_of

from pipeline.report.page.card_part import card_part
from pipeline.report.palette import THEMES

QUARTERS = ("2026Q1", "2026Q2", "2026Q3")
KINDS = (LOW, SPUN, THIN, WILD, {}, {"contact": 4.0}, {"launch": -3.0})
COUNT = 60
PIXEL = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAAAAAA6fptVAAAACklEQVR4nGNgAAAAAgABSK+kcQAAAABJRU5ErkJggg=="
VIEWS = ("#quarter", "#golfers", "#golfer/{code}", "#bands", "#data")


def code(k):
    return f"g{(0x9E3779B97F4A7C15 * (k + 1)) % 2**64:016x}"


def _golfer(k):
    """Give a golfer's quarters: other losses in each, some golfers away or short of drives, one too fast."""
    speed = 80.0 + (7 * k) % 21
    for place, quarter in enumerate(QUARTERS):
        if (k + place) % 11 == 0:
            continue
        given = dict(KINDS[(k + (place if k % 3 else 0)) % len(KINDS)])
        for part in ("launch", "spin", "contact", "consistency"):
            if part in given:
                given[part] += (k % 9) + 0.3 * place
        if k % 13 == 5 and place == len(QUARTERS) - 1:
            given = {"shots": 5}
        made = beyond("0", quarter) if k == 17 else played("0", quarter, club_speed_mph=speed, **given)
        yield made | {"golfer": code(k)}


def study_inputs():
    """Give what `payload_of` takes of the academy."""
    rows = [row for k in range(COUNT) for row in _golfer(k)]
    even = [row for row in rows if int(row["golfer"][1:], 16) % 2]
    odd = [row for row in rows if row not in even]
    drives = pl.concat([drives_of(even, group="evening"), drives_of(odd, device="unit-B", group="juniors")])
    others = {
        "Progress": [progress("0", "lost", "carry") | {"golfer": code(k)} for k in range(1, 9)],
        "Goals": [
            goal("0", "reached", gap_yd=-3.0, delivery_yd=None, speed_yd=None) | {"golfer": code(k)} for k in (2, 3, 4)
        ],
    }
    settings = SETTINGS | {"title": "Hill School"}
    return {"tables": tables_of(rows, **others), "frontier": FRONTIER, "drives": drives, "settings": settings}


def academy_payload():
    given = study_inputs()
    made = payload_of(**given)
    # The pictures themselves are tested with the view that shows them.
    pictures = {
        f"{centre:g}": {"best": None, **dict.fromkeys(THEMES, PIXEL)}
        for centre in given["settings"]["bands"]["centres"]
    }
    return made | {"pictures": pictures, "card": card_part("# Model card\n\nFitted on drives.\n")}


@pytest.fixture(scope="module")
def payload():
    return json.loads(json.dumps(academy_payload()))


@pytest.fixture(scope="module")
def academy_file(payload, tmp_path_factory):
    path = tmp_path_factory.mktemp("academy") / "academy.html"
    path.write_text(page_of(payload), encoding="utf-8", newline="\n")
    return path


@pytest.fixture(scope="module")
def names_file(payload, tmp_path_factory):
    """Give names.csv: every golfer's name, one of 40 letters, one with an accent, one that looks like markup."""
    path = tmp_path_factory.mktemp("names") / "names.csv"
    lines = [f'{golfer},"{name}"\n' for golfer, name in names_of(payload).items()]
    path.write_text("golfer,name\n" + "".join(lines), encoding="utf-8")
    return path


def golfers_of(payload):
    """Give the table's rows as mappings, by code."""
    columns, rows = payload["golfers"]["columns"], payload["golfers"]["rows"]
    return {row[0]: dict(zip(columns, row, strict=True)) for row in rows}


def names_of(payload):
    odd = ["Zoë Example-With-A-Name-Of-Forty-Letters", "Åse Example", "Bo <b>Example</b>"]
    plain = [f"Person Example{k:02d}" for k in range(len(payload["golfers"]["rows"]) - len(odd))]
    return dict(zip(golfers_of(payload), [*plain, *odd], strict=True))


@dataclass
class Director:
    """A person at the page: every click, choice, typed word or loaded file is one action."""

    page: Any
    actions: list[str] = field(default_factory=list)

    def click(self, selector):
        self.actions.append(f"click {selector}")
        self.page.locator(selector).first.click()

    def type(self, selector, text):
        self.actions.append(f"type {text}")
        self.page.locator(selector).fill(text)

    def choose(self, selector, value):
        self.actions.append(f"choose {value}")
        self.page.locator(selector).select_option(value)

    def load(self, path):
        self.actions.append("load names")
        self.page.locator("#names-file").set_input_files(str(path))
        self.page.locator("#names-warning").wait_for()


def view(page, fragment):
    """Go to a view by its address."""
    page.evaluate("(to) => { location.hash = to; }", fragment)
    wait_until(page, f"location.hash === {json.dumps(fragment if fragment.startswith('#') else f'#{fragment}')}")
    page.locator("#view h1").first.wait_for()


def table_ready(page):
    page.locator("#golfers-table .tabulator-row, #golfers-table .nobody").first.wait_for()


CELLS = """() => [...document.querySelectorAll('#golfers-table .tabulator-row')].map((row) => [
  row.querySelector('a').getAttribute('href').split('/')[1],
  Object.fromEntries([...row.querySelectorAll('.tabulator-cell')].map((cell) => [
    cell.getAttribute('tabulator-field'),
    cell.innerText.trim() || cell.querySelector('svg')?.getAttribute('aria-label')])),
])"""


# A loaded machine draws late: rows are there once a frame has been drawn after the table was scrolled.
DRAWN = "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(done, 30))))"
LOOKS = 3  # through the table, if fewer rows were seen than it says it has


def rows_shown(page):
    """Read every row of the golfers' table in order, scrolling through it as a person would."""
    table_ready(page)
    for _ in range(LOOKS):
        found = _scrolled_through(page)
        if len(found) == _count_said(page):
            break
    return found


def _scrolled_through(page):
    holder = page.locator("#golfers-table .tabulator-tableholder")
    holder.evaluate("(place) => { place.scrollTop = 0; }")
    found: dict[str, dict[str, str]] = {}
    while True:
        page.evaluate(DRAWN)
        found |= {golfer: cells for golfer, cells in page.evaluate(CELLS) if golfer not in found}
        at_end = holder.evaluate(
            """(place) => {
              const isLast = place.scrollTop + place.clientHeight >= place.scrollHeight - 1;
              place.scrollTop += 200;
              return isLast;
            }"""
        )
        if at_end:
            return found


def _count_said(page):
    return next(iter(numbers_in(page.locator("#golfers-count").inner_text())), 0)


def numbers_in(text):
    return [int(number.replace(",", "")) for number in re.findall(r"\d[\d,]*", text)]
