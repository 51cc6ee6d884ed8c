"""The catalogue: every text is used, and every text that is asked for is there."""

import re
import string
import tomllib
from pathlib import Path

import pytest

from pipeline.shown import IMPERIAL, METRIC
from pipeline.texts.catalogue import LANGUAGE, texts, told
from pipeline.texts.sentences import Sentence

PACKAGE = Path(__file__).parents[2] / "pipeline"
CATALOGUE = tomllib.loads((PACKAGE / f"texts/{LANGUAGE}.toml").read_text(encoding="utf-8"))
SOURCES = "\n".join(
    path.read_text(encoding="utf-8")
    for path in sorted(PACKAGE.rglob("*"))
    if path.suffix in (".py", ".js", ".j2") and path.parent.name != "vendor"
)
# Words after a quotation mark or a dot, or before a colon: found once, since there are a thousand keys.
NAMED = frozenset(re.findall(r"[\"'.`](\w+)", SOURCES) + re.findall(r"\b(\w+):", SOURCES))
ENTRIES = [(section, key) for section, held in CATALOGUE.items() for key in held]
# How keys begin whose end is a word that code has, such as a cause; the cases of tests/report/page_cases.py say them.
BEGUN = tuple(set(re.findall(r"say\(\s*f\"([a-z_]{3,})\{", SOURCES)))
# The same in scripts, where a view's name stands before all that it says.
BEGUN += tuple(set(re.findall(r"`([a-z_]{2,}_)\$\{", SOURCES)) - {"golfer_", "bands_", "data_"})
MADE = {"goal_carry", "goal_total", "expected_range", "efficient_range"}  # keys put together from an answer's words
MADE |= {f"picture_{name}_{side}" for name in ("launch", "spin") for side in ("above", "below", "just")}
MADE |= {"just_above", "just_below"}
MADE |= {f"{name}_{side}" for name in ("launch", "spin") for side in ("low", "high", "just_low", "just_high")}
MADE |= {f"{word}_{side}" for word in ("sure", "likely", "cant_tell") for side in ("more", "less")}
# Of the views of bands and data.
MADE |= {f"bands_{name}" for name in ("flagged", "clear", "not_assessed", "half", "middle")}
MADE |= {f"data_{name}" for name in ("logs", "rejects", "devices", "unknown", "privacy")}


@pytest.mark.parametrize("key", sorted({key for _, key in ENTRIES}))
def test_every_text_is_used(key):
    assert any(is_named(one) for one in (key, key.removeprefix("golfer_")))


def is_named(key):
    if key in MADE or key.startswith(BEGUN) or key in NAMED:
        return True
    if re.fullmatch(r"\w+", key):
        return False
    named = re.escape(key)  # which has a stroke, as units do
    return re.search(rf"[\"'.`]{named}\b|\b{named}:", SOURCES) is not None


@pytest.mark.parametrize(("section", "key"), ENTRIES)
def test_a_text_is_one_line_with_named_places_alone(section, key):
    text = CATALOGUE[section][key]
    assert text.rstrip() == text
    assert "\n" not in text
    names = [name for _, name, _, _ in string.Formatter().parse(text) if name is not None]
    assert all(re.fullmatch("[a-z0-9_]+", name) for name in names)


def test_every_text_that_code_names_is_there():
    named = re.findall(r"(?:told|Sentence)\(\"([a-z]+)\", \"([a-z_]+)\"", SOURCES)
    assert len(named) > 15
    assert [one for one in named if one[1] not in CATALOGUE[one[0]]] == []


def test_a_sentence_stands_in_somebodys_units():
    sentence = Sentence("refusals", "beyond", {"speed_mph": 130.0, "lo_mph": 65.0, "hi_mph": 119.0})
    assert sentence.text(IMPERIAL) == "No answer at 130 mph. This academy's drives run from 65 to 119 mph."
    assert sentence.text(METRIC) == "No answer at 209.215 km/h. This academy's drives run from 105 to 192 km/h."


def test_a_word_that_is_not_given_is_an_error():
    assert texts("units")["rpm"] == "rpm"
    with pytest.raises(KeyError):
        told("refusals", "beyond", speed="1")
