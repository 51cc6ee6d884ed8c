import numpy as np
import polars as pl
import pytest

from pipeline.benchmark.window import Window
from pipeline.report.sheet.drawings import (
    LEFT,
    RIGHT,
    axis_over,
    delivery_chart,
    history_chart,
    parts_chart,
    standing_chart,
)
from pipeline.report.sheet.facts import Target

WINDOW = Window(12.0, 15.0, 2300.0, 2900.0)
BAND = {f"band_carry_p{p}_yd": 180.0 + p for p in (25, 50, 75, 90)}
EFFICIENT = {"band_efficient_carry_yd": 280.0, "band_efficient_lo90_yd": 278.0, "band_efficient_hi90_yd": 282.0}
PARTS = {"lost_contact_yd": None, "lost_launch_yd": 20.0, "lost_spin_yd": -5.0, "lost_consistency_yd": 0.0,
         "lost_other_yd": 1.0}  # fmt: skip


def test_axis_holds_its_values_between_round_ticks():
    axis = axis_over([203.0, 241.0], 10.0, 110.0)
    assert axis.ticks == (200, 210, 220, 230, 240, 250)
    assert (axis(200), axis(225), axis(250)) == (10.0, 60.0, 110.0)
    assert axis_over([5.0, 5.0], 0, 1).ticks[0] < 5 < axis_over([5.0, 5.0], 0, 1).ticks[-1]


def test_rows_stand_where_their_figures_say():
    chart = standing_chart(BAND | EFFICIENT | {"moved_yd": 190.0})
    places = {row["label"]: row for row in chart["rows"]}
    assert [row["label"] for row in chart["rows"]] == [
        "this golfer", "25th percentile", "50th percentile", "75th percentile", "90th percentile", "efficient carry",
    ]  # fmt: skip
    first, last = (float(chart["ticks"][k]["text"].replace(",", "")) for k in (0, -1))
    for label, value in (("this golfer", 190.0), ("90th percentile", 270.0), ("efficient carry", 280.0)):
        assert places[label]["x"] == pytest.approx(LEFT + (value - first) / (last - first) * (RIGHT - LEFT), abs=0.06)
        assert places[label]["text"] == f"{value:.0f}"
    assert places["efficient carry"]["low"] < places["efficient carry"]["x"] < places["efficient carry"]["high"]
    assert places["this golfer"]["own"]


def test_what_is_not_known_is_not_drawn():
    nothing = dict.fromkeys([*BAND, *EFFICIENT, "moved_yd"])
    assert standing_chart(nothing) is None
    assert len(standing_chart(nothing | EFFICIENT | {"moved_yd": 190.0})["rows"]) == 2
    assert parts_chart(dict.fromkeys(PARTS)) is None
    assert (
        history_chart([{"quarter": "2026Q1", "lost_yd": None, "lost_lo90_yd": None, "lost_hi90_yd": None}], 10) is None
    )


def test_bars_run_from_nil_and_an_unknown_part_has_none():
    chart = parts_chart(PARTS)
    rows = {row["label"]: row for row in chart["rows"]}
    assert set(rows) == {"launch", "spin", "consistency", "other"}
    assert rows["spin"]["x"] < chart["zero"] == rows["consistency"]["x"] < rows["launch"]["x"]


def test_history_shows_the_threshold():
    quarters = [
        {"quarter": f"2026Q{k}", "lost_yd": 20.0 + k, "lost_lo90_yd": 15.0, "lost_hi90_yd": 28.0} for k in (1, 2)
    ]
    chart = history_chart(quarters, 12.5)
    assert [(line["text"], line["x"] < chart["rows"][0]["low"]) for line in chart["lines"]] == [("12.5 yd", True)]
    assert [row["text"] for row in chart["rows"]] == ["21", "22"]


def test_typical_drive_and_window_share_their_axes():
    dots = pl.DataFrame({"launch_deg": [7.0, 8.0, 9.0], "spin_rpm": [2400.0, 2500.0, 2600.0]})
    inside = {"launch_deg": 13.0, "spin_rpm": 2500.0}
    chart = delivery_chart(inside, Target(13.5, 2600.0, WINDOW, None), dots)
    box, (x, y) = chart["window"], chart["typical"]
    assert box["x"] < x < box["x"] + box["width"]
    assert box["y"] < y < box["y"] + box["height"]
    below = delivery_chart({"launch_deg": 8.0, "spin_rpm": 2500.0}, Target(13.5, 2600.0, WINDOW, None), dots)
    assert below["typical"][1] > below["window"]["y"] + below["window"]["height"]
    assert delivery_chart(inside, None, None)["window"] is None


def test_a_guessed_spin_has_no_place():
    chart = delivery_chart({"launch_deg": 13.0, "spin_rpm": None}, Target(13.5, 2600.0, WINDOW, None), None)
    assert chart["typical"] is None
    assert chart["window"] is not None
    assert delivery_chart({"launch_deg": 13.0, "spin_rpm": None}, None, None)["dots"] == []


def path_of(text):
    """Read the rings of a path back: places in drawing units."""
    return [
        [tuple(map(float, place.split())) for place in ring.rstrip("z").split("L")] for ring in text.split("M") if ring
    ]


def test_carry_is_shaded_where_the_lookup_answers_darker_where_it_is_farther():
    outline = np.array([[9.0, 2000.0], [18.0, 2000.0], [18.0, 3400.0], [9.0, 3400.0]])
    launches, spins = np.arange(8.0, 19.0, 0.5), np.arange(1900.0, 3500.0, 50.0)
    marks = (np.abs(launches[:, None] - 13) <= 2) & (np.abs(spins - 2600) <= 400)
    target = Target(
        14.0, 2600.0, WINDOW, None, 220.0, (outline,), (launches, spins, marks),
        lambda launch, spin: 220.0 - 4 * np.abs(launch[:, None] - 14.0) - 0.0 * spin,
    )  # fmt: skip
    chart = delivery_chart({"launch_deg": 8.0, "spin_rpm": 3600.0}, target, None)
    x, y = chart["x"], chart["y"]
    assert chart["best"] == [(x(2600.0), y(14.0))]
    assert [path_of(one) for one in chart["answered"]] == [[[(x(b), y(a)) for a, b in outline.tolist()]]]
    (ring,) = path_of(chart["reach"])
    ends = [(min(part), max(part)) for part in zip(*ring, strict=True)]
    np.testing.assert_allclose(ends, [(x(2200.0), x(3000.0)), (y(15.0), y(11.0))], atol=0.3)
    assert len(chart["shades"]) == 4
    for shade, short in zip(chart["shades"], (30.0, 20.0, 10.0, 5.0), strict=True):
        heights = [b for one in path_of(shade["path"]) for _, b in one]
        lo, hi = (max(14.0 - short / 4, 9.0), min(14.0 + short / 4, 18.0))
        np.testing.assert_allclose((min(heights), max(heights)), (max(y(hi), y.end), min(y(lo), y.start)), atol=0.3)
    tones = [int(shade["fill"][1:3], 16) for shade in chart["shades"]]
    assert tones == sorted(tones, reverse=True)


def test_nothing_is_shaded_without_a_target():
    chart = delivery_chart({"launch_deg": 8.0, "spin_rpm": 3600.0}, None, None)
    assert (chart["answered"], chart["shades"], chart["reach"], chart["best"]) == ([], [], "", [])
