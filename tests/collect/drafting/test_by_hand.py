"""Spreadsheets of results by hand: drafted as such, and never a log whose launch or spin wasn't understood."""

from datetime import date

import numpy as np
import pytest

from pipeline.collect.drafting.asked import ask
from pipeline.collect.drafting.draft import BY_HAND, draft_layout
from pipeline.collect.drafting.draft_text import left_open
from pipeline.collect.drafting.shape import shape_of_text

HEAD = ["Date", "Name", "Club speed (mph)", "Carry (yd)"]


def cells(n=40):
    rng = np.random.default_rng(5)
    speed = rng.normal(94, 6, n)
    days = [f"2026-08-{i % 28 + 1:02}" for i in range(n)]
    names = [["Ann Oak", "Bo Elm", "Cy Ash"][i % 3] for i in range(n)]
    return [days, names, [f"{one:.0f}" for one in speed], [f"{2.4 * one:.0f}" for one in speed]]


def drafted(columns, head):
    lines = [";".join(row) for row in (head, *zip(*columns, strict=True))]
    shape = shape_of_text(("\n".join(lines) + "\n").encode())
    assert shape is not None
    return draft_layout(shape, date(2026, 11, 20))


def test_speed_and_carry_alone_are_enough():
    draft = drafted(cells(), HEAD)
    assert draft.by_hand
    assert (draft.undecided(), draft.missing(), left_open(draft, "a")) == ([], [], [])
    assert {name: choice.options[0].source for name, choice in draft.columns.items()} == {
        "golfer": "Name", "struck_at": "Date", "club_speed_mph": "Club speed (mph)", "carry_yd": "Carry (yd)",
    }  # fmt: skip
    assert draft.notes == (BY_HAND,)


def test_other_languages_do_too():
    head = ["Datum", "Spieler", "Schlägertempo (m/s)", "Flugweite (m)"]
    columns = cells()
    columns[2] = [f"{float(one) * 0.447:.1f}" for one in columns[2]]
    columns[3] = [f"{float(one) * 0.914:.1f}" for one in columns[3]]
    draft = drafted(columns, head)
    assert draft.by_hand
    assert draft.undecided() == []
    assert draft.columns["carry_yd"].options[0].unit == "m"


def test_units_that_nothing_names_are_asked():
    draft = drafted(cells(), ["Date", "Name", "Club speed", "Carry"])
    assert "carry_yd" in draft.undecided()
    assert {option.unit for option in draft.columns["carry_yd"].options} >= {"yd", "m"}


@pytest.mark.parametrize("numbers", [lambda i: 12 + i % 5, lambda i: 2600 + 10 * i, lambda i: 0.5 + i / 100])
def test_numbers_that_nothing_explains_are_asked(numbers):
    draft = drafted([*cells(), [f"{numbers(i):g}" for i in range(40)]], [*HEAD, "Wert"])
    assert draft.by_hand
    open_ = [name for name in draft.undecided() if name in ("launch_deg", "spin_rpm")]
    assert open_
    told = left_open(draft, "layout.yaml")
    assert told == [line for line in told if line.endswith("Leave it as it is if the log has no launch and no spin.")]
    assert len(told) == len(open_)


@pytest.mark.parametrize(("header", "lacks"), [("Launch (deg)", "spin_rpm"), ("Drall", "launch_deg")])
def test_one_of_the_two_makes_a_log_of_a_device(header, lacks):
    numbers = [f"{2600 + 10 * i if 'D' in header[:1] else 10 + i % 6}" for i in range(40)]
    draft = drafted([*cells(), numbers], [*HEAD, header])
    assert not draft.by_hand
    assert draft.missing() == [lacks]


class Answers:
    """Somebody who takes the last option of each question."""

    def __init__(self):
        self.asked = []

    def choose(self, question, options):
        self.asked.append((question, list(options)))
        return len(options) - 1

    def say(self, *_):
        return None


def test_a_person_may_say_that_there_is_no_launch():
    draft = drafted([*cells(), [f"{12 + i % 5}" for i in range(40)]], [*HEAD, "Wert"])
    somebody = Answers()
    decided = ask(draft, somebody, "a.csv")
    assert somebody.asked[0][1][-1] == "from none: the log has no launch and no spin"
    assert decided.by_hand
    assert (decided.undecided(), decided.missing()) == ([], [])
