"""Typed numbers: the table tests/report/typed_numbers.json holds for the coach's page too."""

import json
from pathlib import Path

import pytest

from pipeline.shown import Units
from pipeline.typed import ASKED, CONDITIONS, limits_text, read_typed, typed_number

TABLE = json.loads((Path(__file__).parent / "report/typed_numbers.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("case", TABLE["numbers"], ids=lambda case: f"{case['text']!a} {case['thousands']}")
def test_a_number_is_read_as_a_person_means_it(case):
    assert typed_number(case["text"], case["thousands"]) == case["value"]


@pytest.mark.parametrize("case", TABLE["typed"], ids=lambda case: f"{case['name']} {case['text']!a}")
def test_what_is_typed_is_taken_or_refused_with_the_range_that_holds(case):
    value, refusal = read_typed(case["name"], case["text"], case["limits"], Units(**case["units"]))
    assert refusal == case["refusal"]
    assert value == (None if case["value"] is None else pytest.approx(case["value"], abs=1e-9))


@pytest.mark.parametrize("units", [Units("yards", "mph"), Units("metres", "km/h"), Units("metres", "m/s")])
@pytest.mark.parametrize("name", ASKED)
def test_the_limits_that_a_sentence_gives_can_be_typed(name, units):
    # Spin as the sentence writes it, with its comma, too.
    limits = CONDITIONS.get(name, (1234.5, 2345.6) if name == "spin" else (63.21, 118.9))
    lo, hi, _ = limits_text(name, limits, units)
    for text in (lo, hi):
        value, refusal = read_typed(name, text, limits, units)
        assert refusal is None
        assert limits[0] <= value <= limits[1]


def test_a_limit_moved_by_rounding_of_units_can_still_be_typed():
    # 100 km/h in mph and back is not always 100: the value is brought to the limit, not refused.
    each = Units("metres", "km/h").mph_each
    for kmh in range(60, 240):
        limits = (kmh * each * (1 + 1e-15), (kmh + 1) * each * (1 - 1e-15))
        for text in (str(kmh), str(kmh + 1)):
            value, refusal = read_typed("club_speed", text, limits, Units("metres", "km/h"))
            assert refusal is None
            assert limits[0] <= value <= limits[1]


def test_an_endless_number_is_out_of_range():
    assert read_typed("club_speed", "9" * 400, (65, 119))[1] == "Club speed: give a number from 65 to 119 mph."
