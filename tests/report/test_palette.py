"""Colors measured: contrast by WCAG 2.2, and distances as color-blind eyes see them."""

import itertools
import re

import numpy as np
import pytest
from test_look import EYES, TO_XYZ, lab

from pipeline.report.palette import DARK, LIGHT, THEMES, css_variables, map_shades, mixed, palette_css, part_colors

# WCAG 2.2 success criteria 1.4.6 (text, enhanced) and 1.4.11 (marks).
TEXT, MARK = 7.0, 3.0
GREY = TO_XYZ[1]


def rgb(color):
    return np.array([int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)])


def luminance(color):
    part = rgb(color)
    return float(GREY @ np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4))


def contrast(one, other):
    darker, lighter = sorted(luminance(color) for color in (one, other))
    return (lighter + 0.05) / (darker + 0.05)


def nearest(colors, eye):
    seen = [lab(rgb(color), eye) for color in colors]
    return min(np.linalg.norm(a - b) for a, b in itertools.combinations(seen, 2))


@pytest.mark.parametrize("name", THEMES)
def test_text_keeps_seven_to_one_on_everything_it_stands_on(name):
    one = THEMES[name]
    pairs = [(text, under) for text in (one.ink, one.soft, one.attention, one.good) for under in (one.paper, one.card)]
    pairs += [(one.attention, one.attention_pale), (one.ink, one.attention_pale), (one.soft, one.good_pale)]
    pairs += [(one.good, one.good_pale), (one.ink, one.good_pale), (one.on_good, one.good)]
    pairs += [(one.ink, shade) for shade in map_shades(one, 15)]

    assert {pair: contrast(*pair) for pair in pairs if contrast(*pair) < TEXT} == {}


@pytest.mark.parametrize("name", THEMES)
def test_marks_and_lines_keep_three_to_one_on_paper(name):
    one = THEMES[name]

    low = {c: contrast(c, one.paper) for c in (one.attention_mark, one.good_mark, one.line, one.ink)}

    assert min(low.values()) >= MARK, low


@pytest.mark.parametrize("eye", EYES)
@pytest.mark.parametrize("name", THEMES)
def test_marks_are_told_apart_by_every_eye(name, eye):
    one = THEMES[name]

    # 2.3 is a just noticeable difference; 20 is plain from afar.
    assert nearest([one.attention_mark, one.good_mark, one.line, one.ink, one.paper], eye) > 20
    # Text is small and dark, so its hues are nearer; words go with it.
    assert nearest([one.attention, one.good, one.ink], eye) > 10


@pytest.mark.parametrize("eye", EYES)
@pytest.mark.parametrize("name", THEMES)
def test_parts_are_told_apart_by_every_eye(name, eye):
    assert nearest(THEMES[name].parts, eye) > 10


@pytest.mark.parametrize("name", THEMES)
def test_shades_of_a_map_run_one_way_in_grey(name):
    one = THEMES[name]
    shades = map_shades(one, 15)

    light = [lab(rgb(color), "usual")[0] for color in shades]

    away = np.diff(light) * (-1 if one is LIGHT else 1)  # away from paper, where drives carry most
    assert away.min() > 1
    assert abs(light[-1] - light[0]) > 25


def test_mixing_starts_and_ends_with_its_colors():
    assert [mixed("#000000", "#ff8000", share) for share in (0, 0.5, 1)] == ["#000000", "#804000", "#ff8000"]


def test_css_declares_every_role_of_both_themes():
    css = palette_css()

    for scheme in (LIGHT, DARK):
        declared = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", css_variables(scheme)))
        assert declared["attention-mark"] == scheme.attention_mark
        assert declared["part-contact"] == scheme.parts[0]
        assert list(part_colors(scheme)) == ["contact", "launch", "spin", "consistency", "curve", "other"]
        assert css_variables(scheme) in css
