"""Which kept models are adopted, which one a new fit is held against, and which one golfers are measured with."""

import pytest

from pipeline.errors import UserError
from pipeline.fit.lineage import (
    Data,
    Decision,
    Decisions,
    Pin,
    Record,
    choose,
    decide,
    find_one,
    is_adopted,
    lineage,
    lost_parent,
    parent_of,
)
from pipeline.fit.verdict import LAST, NEWEST, PINNED, REFUSED, Choice

AIR = {"temp_c": 15.0, "pressure_hpa": 1013.25, "humidity": 0.0}
ONE, TWO, THREE, NEW = (f"k00000000000{digit}" for digit in "1234")
NOTHING = Decisions()


def record(name, number, parent, verdict, air=AIR):
    data = Data(fingerprint="f" * 64, quarters=["2026Q1"], drives=600, golfers=20)
    return Record(id=name, number=number, parent=parent, verdict=verdict, data=data, settings={"air": air}, versions={})


RECORDS = [record(ONE, 1, None, "first"), record(TWO, 2, ONE, "adopt"), record(THREE, 3, TWO, "keep")]


def decided(use=None, **words):
    return Decisions(decided={name: Decision(decision=word) for name, word in words.items()}, use=use)


def test_the_verdict_decides_unless_a_person_does():
    assert [is_adopted(one, NOTHING) for one in RECORDS] == [True, True, False]
    assert [is_adopted(one, decided(**{TWO: "refuse", THREE: "adopt"})) for one in RECORDS] == [True, False, True]
    assert [one.id for one in lineage(RECORDS, decided(**{TWO: "refuse"}))] == [ONE]


def test_a_new_fit_is_held_against_the_newest_adopted_model():
    assert parent_of([], NOTHING, NEW) is None
    assert parent_of(RECORDS, NOTHING, NEW) == TWO
    assert parent_of(RECORDS, decided(**{THREE: "adopt"}), NEW) == THREE
    assert parent_of(RECORDS, decided(**{TWO: "refuse"}), NEW) == ONE


def test_a_kept_fit_stays_with_the_model_that_it_was_held_against():
    assert parent_of(RECORDS, NOTHING, ONE) is None
    assert parent_of(RECORDS, decided(**{TWO: "refuse"}), THREE) == TWO
    assert (parent_of(RECORDS[1:], NOTHING, TWO), lost_parent(RECORDS[1:], TWO)) == (None, ONE)
    assert lost_parent(RECORDS, TWO) is None
    assert lost_parent(RECORDS, NEW) is None


def test_the_newest_fit_is_used_if_it_is_adopted():
    assert choose(RECORDS, NOTHING, TWO, AIR) == Choice(TWO, NEWEST, TWO)
    # Logs were put back, and the first fit is the newest again.
    assert choose(RECORDS, NOTHING, ONE, AIR) == Choice(ONE, NEWEST, ONE)
    assert choose(RECORDS, decided(**{THREE: "adopt"}), THREE, AIR) == Choice(THREE, NEWEST, THREE)
    assert not choose(RECORDS, NOTHING, TWO, AIR).kept


def test_a_refused_fit_leaves_the_newest_adopted_model_in_use():
    found = choose(RECORDS, NOTHING, THREE, AIR)
    assert (found, found.kept) == (Choice(TWO, REFUSED, THREE), True)
    assert choose(RECORDS, decided(**{TWO: "refuse"}), THREE, AIR).id == ONE
    why = Decisions(decided={TWO: Decision(decision="refuse", because="a bad bay")})
    assert choose(RECORDS, why, TWO, AIR) == Choice(ONE, REFUSED, TWO, "a bad bay")


def test_a_pinned_model_is_used_whatever_the_newest_fit():
    pinned = Decisions(use=Pin(id=THREE, because="one yardstick a year"))
    found = choose(RECORDS, pinned, TWO, AIR)
    assert (found, found.kept) == (Choice(THREE, PINNED, TWO, "one yardstick a year"), True)
    assert not choose(RECORDS, pinned, THREE, AIR).kept  # its own fit's files are there


def test_a_model_of_other_standard_conditions_can_not_stand_in():
    hot = AIR | {"temp_c": 30.0}
    records = [RECORDS[0], record(TWO, 2, ONE, "adopt", hot), RECORDS[2]]
    assert choose(records, NOTHING, THREE, AIR).id == ONE
    assert choose(RECORDS[2:], NOTHING, THREE, AIR) == Choice(THREE, LAST, THREE)


def test_any_beginning_of_an_id_that_no_other_has_will_do():
    other = record("k9aaaaaaaaaaa", 4, TWO, "adopt")
    assert find_one([*RECORDS, other], "k9", "kept") is other
    with pytest.raises(UserError, match=rf"^k0: begins more than one id in kept: {ONE}, {TWO}, {THREE}\. Give more"):
        find_one([*RECORDS, other], "k0", "kept")
    with pytest.raises(
        UserError, match=rf"^x: kept holds no model whose id begins so; there are {ONE}, {TWO}, {THREE}"
    ):
        find_one(RECORDS, "x", "kept")
    with pytest.raises(UserError, match=f"there is only {ONE}"):
        find_one(RECORDS[:1], "", "kept")


def test_a_person_decides_and_a_refused_model_is_not_pinned_any_more():
    found = decide(RECORDS, NOTHING, RECORDS[2], "adopt", "checked by hand")
    assert found.decided == {THREE: Decision(decision="adopt", because="checked by hand")}
    pinned = Decisions(use=Pin(id=TWO))
    assert decide(RECORDS, pinned, RECORDS[1], "refuse", None).use is None
    assert decide(RECORDS, pinned, RECORDS[0], "refuse", None).use == Pin(id=TWO)


def test_the_last_adopted_model_can_not_be_refused():
    once = decide(RECORDS, NOTHING, RECORDS[1], "refuse", None)
    with pytest.raises(
        UserError, match=f"^{ONE}: is the only adopted model, and a study needs one. Adopt another first"
    ):
        decide(RECORDS, once, RECORDS[0], "refuse", None)
