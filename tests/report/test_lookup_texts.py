"""The coach's page says what the catalogue has, all of it and nothing else."""

import re

import pytest

from pipeline.report.lookup.lookup_page import PAGE_SCRIPTS
from pipeline.report.templating import templates_of
from pipeline.texts.catalogue import texts

PAGE = texts("page")
# Keys that a script puts together: by a measure and a side, or by the name of a field.
MADE = {f"picture_{measure}_{side}" for measure in ("launch", "spin") for side in ("below", "above", "just")}
MADE |= {"inside", "below", "above", "just_below", "just_above", "ball", "launch", "spin"}


def sources():
    found = templates_of("lookup")
    return {name: found.loader.get_source(found, name)[0] for name in ("lookup.html.j2", *PAGE_SCRIPTS)}


def test_every_text_is_said_and_every_text_said_is_there():
    said = {key for source in sources().values() for key in re.findall(r"\b[tT]\.(\w+)", source)}
    assert len(said) > 80
    assert said | MADE == set(PAGE)


@pytest.mark.parametrize("name", ["lookup.html.j2", *PAGE_SCRIPTS])
def test_template_and_scripts_have_no_sentence_of_their_own(name):
    source = sources()[name]
    if name.endswith(".j2"):
        shown = re.sub(r"\{[{%].*?[%}]\}|<[^>]*>", " ", re.sub(r"<style.*?</style>|<script.*?</script>", " ", source))
    else:
        code = re.sub(r"^\s*//.*$|\s// .*$", "", source, flags=re.MULTILINE)
        strings = [a or b for a, b in re.findall(r'"([^"\n]*)"|`([^`]*)`', code)]
        shown = "\n".join(re.sub(r"\$\{[^}]*\}", " ", text) for text in strings)
    assert re.findall(r"[A-Z][a-z]+ [a-z]+ [a-z]+", shown) == []
    assert re.findall(r"[a-z]{3,} (?:the|a|of|is|are) [a-z]{3,}", shown) == []


def test_words_in_braces_are_filled_in(open_page, lookup_folder):
    page = open_page(lookup_folder("flight") / "report/lookup.html").page
    page.fill("#club", "97")
    page.locator("#ball").focus()
    assert re.findall(r"\{\w+\}|undefined|NaN|null", page.locator("body").inner_text()) == []
