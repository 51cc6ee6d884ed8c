"""The rounding of the coach's page is that of pipeline/shown.py, figure by figure, in real Chromium."""

from typing import get_args

import numpy as np
import pytest

from pipeline.report.lookup.lookup_page import Distance, Speed
from pipeline.shown import (
    Units,
    adding_up,
    angle_figure,
    inward,
    number_text,
    rounded,
    signed_text,
    spin_figure,
    typed_text,
    whole,
)

HALVES = [-2.5, -1.5, -0.5, -0.25, -0.004, 0.0, 0.005, 0.25, 0.5, 1.5, 2.5, 74.5, 2675.0, 12345.5, 1234567.0]


@pytest.fixture
def page(open_page, lookup_folder):
    return open_page(lookup_folder("flight") / "report/lookup.html").page


@pytest.fixture
def values():
    random = np.random.default_rng(4)
    return [*HALVES, *random.normal(0, 300, 300).tolist(), *(random.integers(-4000, 4000, 100) / 4).tolist()]


def minus(text):
    """Write a negative figure as pages do, with a sign that isn't a hyphen."""
    return text.replace("-", "\u2212")


@pytest.mark.parametrize("step", [50.0, 1.0, 0.5, 0.1, 0.01])
def test_steps(page, values, step):
    found = page.evaluate("([values, step]) => values.map((value) => roundedTo(value, step))", [values, step])
    assert found == rounded(values, step).tolist()


def test_figures(page, values):
    script = """(values) => values.map((value) => [
      wholeOf(value), numberText(value), numberText(value, 2), signedText(value, 1),
      angleFigure(value), spinFigure(value),
    ])"""
    right = [
        [
            whole(value),
            minus(number_text(value)),
            minus(number_text(value, 2)),
            minus(signed_text(value, 1)),
            minus(angle_figure(value)),
            minus(spin_figure(value)),
        ]
        for value in values
    ]
    assert page.evaluate(script, values) == right


def test_typed_figures(page):
    typed = [97.0, 97.5, 1013.25, 0.1, 156.10669, 43.36, 1e5]
    assert page.evaluate("(values) => values.map(typedText)", typed) == [typed_text(value) for value in typed]


def test_parts_add_up_alike(page):
    random = np.random.default_rng(5)
    cases = [random.normal(3, 6, random.integers(1, 6)).tolist() for _ in range(300)]
    cases += [[0.5, 0.5], [1.5, 1.5, -3.0], []]
    found = page.evaluate("(cases) => cases.map((parts) => addingUp(parts))", cases)
    assert found == [adding_up(parts) for parts in cases]
    totals = [[parts, whole(sum(parts)) + 1] for parts in cases if parts]
    found = page.evaluate("(cases) => cases.map(([parts, total]) => addingUp(parts, total))", totals)
    assert found == [adding_up(parts, total) for parts, total in totals]
    assert all(sum(parts) == total for parts, (_, total) in zip(found, totals, strict=True))


def test_edges_move_inward_alike(page):
    cases = [[14.5, 16.5, 0.5], [14.51, 16.49, 0.5], [2650.0000001, 3149.9999999, 50]]
    cases += [[10.1, 10.4, 0.5], [3.0, 3.0, 0.5]]
    found = page.evaluate("(cases) => cases.map((case_) => inwardTo(...case_))", cases)
    right = [inward(*case) for case in cases]
    assert found == [None if ends is None else list(ends) for ends in right]
    assert None in found


@pytest.mark.parametrize("distance", get_args(Distance))
@pytest.mark.parametrize("speed", get_args(Speed))
def test_units(page, values, distance, speed):
    units = Units(distance=distance, speed=speed)
    script = """([values, distance, speed]) => values.map((value) => {
      const units = unitsOf(distance, speed);
      return [distanceText(value, units), speedText(value, units), partsWhole([value, 3.3, 7.7], units)];
    })"""
    right = [
        [minus(units.distance_text(v)), minus(units.speed_text(v)), units.parts_whole([v, 3.3, 7.7])] for v in values
    ]
    assert page.evaluate(script, [values, distance, speed]) == right
