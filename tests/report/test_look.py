import itertools

import matplotlib as mpl
import numpy as np
import pytest
import seaborn as sns

from pipeline.report.figures.look import FLAG_COLOUR, PART_LOOKS, WHITE_GRID, band_colours, house_style

# Colour vision deficiencies, full strength, on linear RGB: Machado, Oliveira and Fernandes, IEEE Transactions on
# Visualization and Computer Graphics 15 (2009) 1291; matrices from memory, their rows add up to 1 as they must.
EYES = {
    "usual": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
# sRGB to XYZ and the D65 white: IEC 61966-2-1.
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
WHITE = TO_XYZ.sum(axis=1)


def lab(colour, eye):
    """Turn an sRGB colour, as an eye sees it, into CIE L*a*b*."""
    rgb = np.asarray(colour, dtype=float)
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    x, y, z = np.cbrt(TO_XYZ @ np.clip(EYES[eye] @ linear, 0, 1) / WHITE)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def nearest(colours, eye):
    seen = [lab(colour, eye) for colour in colours]
    return min(np.linalg.norm(a - b) for a, b in itertools.combinations(seen, 2))


@pytest.mark.parametrize("eye", EYES)
def test_parts_can_be_told_apart_by_every_eye(eye):
    # 2.3 is a just noticeable difference; 10 is plain to see side by side, and hatches help.
    assert nearest([colour for _, colour, _ in PART_LOOKS.values()], eye) > 10


@pytest.mark.parametrize("eye", EYES)
def test_bands_and_the_flag_can_be_told_apart_by_every_eye(eye):
    assert nearest([*band_colours([70, 80, 90, 100, 110]).values(), FLAG_COLOUR], eye) > 10


def test_bands_grow_lighter_with_speed_so_that_grey_print_keeps_their_order():
    colours = band_colours([110, 70, 90, 100, 80])

    lightness = [lab(colours[centre], "usual")[0] for centre in (70, 80, 90, 100, 110)]

    assert min(np.diff(lightness)) > 8
    assert lightness[-1] < 85  # still seen on white


def test_one_band_has_a_colour():
    assert list(band_colours([90])) == [90]


def test_what_seaborn_has_of_its_white_grid_is_there_without_it():
    # The typeface is our own, and no figure asks for a map of colors without naming it.
    seaborns = {**sns.axes_style("whitegrid"), **sns.plotting_context("notebook")}
    del seaborns["font.family"], seaborns["font.sans-serif"], seaborns["image.cmap"]
    assert {name: seaborns[name] for name in WHITE_GRID} == WHITE_GRID
    before = dict(mpl.rcParams)
    with house_style():
        left = {name for name in seaborns if mpl.rcParams[name] == before[name] != seaborns[name]}
    assert left == set()
