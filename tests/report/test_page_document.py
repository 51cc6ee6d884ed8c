"""The academy's page as a document: nothing from outside, nothing let in by accident, data where scripts find them."""

import base64
import hashlib
import json
import re
from html.parser import HTMLParser

import pytest
from academy_pages import academy_payload, golfers_of, payload  # noqa: F401
from whole_pages import page_of

from pipeline.report.page import page as of_page
from pipeline.report.page.page import STORIES_EACH, plain_text, units_of_page, view_texts
from pipeline.report.templating import templates_of
from pipeline.texts.catalogue import sections, texts

# ruff: noqa: F811 - fixtures that are imported above and asked for below
OWN = ("frame", "names", "quarter", "golfers", "golfers_columns")
HOSTILE = "</script><script>alert('1')</script> & \"Sons\" \N{NO-BREAK SPACE}<b>"


class Tags(HTMLParser):
    """What a document loads or runs: its scripts by type, its policy, addresses of links and pictures."""

    def __init__(self, text):
        super().__init__()
        self.scripts, self.policy, self.addresses, self.title, self._inside = [], "", [], "", None
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        given = dict(attributes)
        if given.get("http-equiv") == "Content-Security-Policy":
            self.policy = given["content"]
        self.addresses += [given[name] for name in ("src", "href") if name in given]
        self._inside = tag
        if tag == "script":
            self.scripts.append([given, ""])

    def handle_data(self, data):
        if self._inside == "script":
            self.scripts[-1][1] += data
        elif self._inside == "title":
            self.title += data

    def handle_endtag(self, tag):  # noqa: ARG002 - the parser's own name
        self._inside = None


@pytest.fixture(scope="module")
def tags(payload):
    return Tags(page_of(payload))


def test_the_policy_lets_in_the_pages_own_scripts_and_nothing_else(tags):
    rules = dict(rule.split(" ", 1) for rule in tags.policy.split("; "))
    run = [text for given, text in tags.scripts if "type" not in given]
    allowed = [f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'" for text in run]

    assert len(run) == 4
    assert rules["script-src"].split() == allowed
    assert rules["default-src"] == rules["base-uri"] == rules["form-action"] == "'none'"
    assert "unsafe" not in tags.policy
    assert "connect-src" not in rules


def test_the_page_asks_for_nothing_and_links_to_its_neighbors_alone(tags):
    inner = [f"#{name}" for name in of_page.CONTENTS]
    assert tags.addresses == [*inner, "lookup.html", "../model/diagnostics.html"]


def test_every_part_and_every_story_is_in_the_page(tags, payload):
    parts = {given["id"]: json.loads(text) for given, text in tags.scripts if given.get("type") == "application/json"}
    stories = [part for name, part in parts.items() if name.startswith("stories-")]

    assert {name: parts[f"data-{name}"] for name in payload if name != "stories"} == {
        name: part for name, part in payload.items() if name != "stories"
    }
    assert {golfer: story for chunk in stories for golfer, story in chunk.items()} == payload["stories"]
    order = list(golfers_of(payload))
    assert [list(chunk) for chunk in stories] == [
        order[k : k + STORIES_EACH] for k in range(0, len(order), STORIES_EACH)
    ]


def test_hostile_words_stay_words(payload):
    text = page_of(payload | {"study": payload["study"] | {"title": HOSTILE}})

    found = Tags(text)
    assert found.title == HOSTILE
    data = next(json.loads(part) for given, part in found.scripts if given.get("id") == "data-study")
    assert data["title"] == HOSTILE
    assert len(found.scripts) == len(Tags(page_of(payload)).scripts)


def test_a_text_is_escaped_as_browsers_write_it_down():
    assert plain_text("a & b < c > \"d\" 'e' \N{NO-BREAK SPACE}f") == "a &amp; b &lt; c &gt; \"d\" 'e' &nbsp;f"


def test_no_two_views_share_a_text_by_its_key():
    named = [key for name in sections() if name.startswith("academy_") for key in texts(name)]
    assert sorted(named) == sorted(view_texts())
    assert len(named) > 50


def test_every_word_that_the_scripts_ask_for_is_in_the_catalogue():
    own = "".join(templates_of("page").get_template(f"academy_{name}.js").render() for name in OWN)
    asked = set(re.findall(r"\btexts\.([a-z]\w+)", own)) | set(re.findall(r'\bfill\("(\w+)"', own))
    assert len(asked) > 40
    assert asked <= set(view_texts())


@pytest.mark.parametrize(
    ("distance", "text", "speed"), [("yards", "yd", {"text": "mph", "each": 1.0, "decimals": 0}), ("metres", "m", None)]
)
def test_units_are_those_of_the_study(distance, text, speed):
    found = units_of_page(distance)
    assert found["distance"]["text"] == text
    if speed:
        assert found["speed"] == speed
        assert found["distance"]["each"] == 1
    else:
        assert found["speed"]["text"] == "km/h"
        assert found["distance"]["each"] == pytest.approx(1 / 0.9144)
