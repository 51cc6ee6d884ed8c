"""What users read in messages, tables, pages and figures is in plain words, as the papers are."""

import pytest
from plain_words import (
    SPELLING,
    WORDS,
    code_sentences,
    rule_sentences,
    script_sentences,
    sentences,
    template_sentences,
    wrong_words,
)
from test_papers import ROOT

SPEAKING = sorted(
    path.relative_to(ROOT).as_posix()
    for pattern in ("Snakefile", *(f"pipeline/**/*.{kind}" for kind in ("py", "smk", "j2", "js", "toml")))
    for path in ROOT.glob(pattern)
    if path.parent.name != "vendor"  # other people's
)


def test_what_speaks_is_read():
    read = {name: sentences(ROOT / name) for name in SPEAKING}
    assert len([name for name, found in read.items() if found]) > 100
    shown = {
        "pipeline/coach/rules.smk": "Compare golfers' quarters",
        "pipeline/cli.py": "Check a study and list every problem. Nothing is written.",
        "pipeline/tables/golfers.py": "Mean carry at standard conditions, for the reference device and ball.",
        "pipeline/configuration/study.py": "Seed of every random draw.",
        "pipeline/fit/comparison_text.py": "so there is nothing to compare it with",
        "pipeline/report/diagnostics/templates/diagnostics.html.j2": "Mean residual of each device, ball and quarter",
        "pipeline/texts/english.toml": "Anything you leave empty is set to what is typical at that speed.",
    }
    for name, text in shown.items():
        assert any(text in one for one in read[name]), name


@pytest.mark.parametrize("name", SPEAKING)
def test_sentences_are_plain(name):
    found = [(wrong, text[:200]) for text in sentences(ROOT / name) for wrong in wrong_words(text, WORDS | SPELLING)]
    assert found == []


@pytest.mark.parametrize(
    "sentence",
    [
        "The fit is held against the kept one.",
        "Hold it against the other logs.",
        "Its error hangs on the golfers near.",
        "The interval holds nil.",
        "The file is no JSON.",
        "That is no standard column.",
        "The table tells how far.",
        "Tell how far a drive should go.",
        "It is told as more than chance.",
        "Written anew.",
        "The run is worked out.",
        "Work out yards lost.",
        "The interval holds the truth.",
        "The layout is left alone.",
        "A device that reads short.",
        "Mend the folder.",
        "Nine drives in ten land there.",
        "Spin is taken as usual.",
        "These are no safety design.",
        "A sum of carry and run.",
        "Carry is standardised.",
        "They practise.",
        "The centre of the band.",
        "Pulled towards zero.",
    ],
)
def test_wrong_words_are_found(sentence):
    assert wrong_words(sentence, WORDS | SPELLING) != []


@pytest.mark.parametrize(
    "sentence",
    ["We can't tell yet.", "One level against another.", "There is no file.", "Set bands.centres in study.yaml."],
)
def test_right_words_are_left(sentence):
    assert wrong_words(code_sentences(repr(sentence).join(("x = ", "\n")))[0], WORDS | SPELLING) == []


def test_strings_of_code_are_read_and_docstrings_are_not():
    source = '''
"""A module, told."""
@command(help="It is told.")
def run():
    """The help, told."""
    raise UserError(f"{path}: told {'and told' if x else 'tells'} by {name}" "told again")
    """An aside, told."""
'''
    assert sorted(code_sentences(source)) == [": told by told again", "It is told.", "and told"]
    assert "The help, told." in code_sentences(source, help_texts=True)


def test_texts_of_templates_scripts_and_rules_are_read():
    template = (
        '<p class="bands-told" title="A title told">Some <b>words</b> {{ table("told", "Words told") }}</p>{# not #}'
    )
    assert template_sentences(template) == ["Words told", "A title told", "Some words"]
    assert script_sentences('// told\nshow("so it is", `${x} is told`, "told"); // anew') == ["so it is", "is told"]
    assert rule_sentences('    message:\n        "Hold it"\n    log: "told"') == ["Hold it"]
