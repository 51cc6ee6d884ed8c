"""What is said of the model in use."""

import pytest

from pipeline.fit.model import FittedOn
from pipeline.fit.verdict import ASKED, LAST, NEWEST, PINNED, REFUSED, TRIAL, Choice, ModelInUse, in_use_lines

ON = FittedOn(3000, 60, ("2026Q2", "2026Q3"))
WHOM = "3,000 drives of 60 golfers, 2026Q2, 2026Q3."


@pytest.mark.parametrize(
    ("choice", "verdict", "lines"),
    [
        (Choice("k1", NEWEST, "k1"), "adopt", [f"k1, the newest fit: {WHOM}"]),
        (
            Choice("k1", REFUSED, "k2"),
            "keep",
            [
                f"k1, the newest adopted model: {WHOM}",
                "The newest fit, k2, isn't used: it is refused by the comparison; see model/comparison.md.",
            ],
        ),
        (
            Choice("k1", REFUSED, "k2"),
            "adopt",
            [f"k1, the newest adopted model: {WHOM}", "The newest fit, k2, isn't used: it is refused by a person."],
        ),
        (
            Choice("k1", REFUSED, "k2", "a bad bay"),
            "adopt",
            [f"k1, the newest adopted model: {WHOM}", "The newest fit, k2, isn't used: it is refused (a bad bay)."],
        ),
        (
            Choice("k1", LAST, "k1"),
            "keep",
            [f"k1, the newest fit: {WHOM}", "It is refused, but no adopted model can stand in."],
        ),
        (Choice("k1", PINNED, "k2"), "adopt", [f"k1, pinned for this study: {WHOM}", "The newest fit is k2."]),
        (
            Choice("k1", PINNED, "k1", "one yardstick a year"),
            "adopt",
            [f"k1, pinned for this study: {WHOM}", "Why: one yardstick a year. It is also the newest fit."],
        ),
        (Choice("k1", ASKED), None, [f"k1, a kept model, named for this look: {WHOM}"]),
        (Choice("k1", TRIAL, trial="few"), None, [f"k1, the trial few, which enters no lineage: {WHOM}"]),
    ],
)
def test_the_model_in_use_is_told_with_the_reason(choice, verdict, lines):
    assert in_use_lines(ModelInUse(choice, ON, verdict)) == lines


def test_only_a_model_that_the_run_did_not_fit_is_a_kept_one():
    kept = {Choice("k1", ASKED), Choice("k1", REFUSED, "k2"), Choice("k1", PINNED, "k2")}
    own = {Choice("k1", NEWEST, "k1"), Choice("k1", LAST, "k1"), Choice("k1", PINNED, "k1"), Choice("k1", TRIAL)}
    assert {choice for choice in kept | own if choice.kept} == kept
