import json
from dataclasses import dataclass, fields, is_dataclass, replace

import numpy as np
import pytest
from fitting import OwnTerms
from frontiers import frontier_at, near_of

from pipeline.benchmark.chart import BandMap, Chart
from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.window import Window
from pipeline.coach.practice.light_tool import LightTool
from pipeline.edge import artefacts
from pipeline.edge.artefacts import (
    read_arrays,
    read_artefact,
    read_stamped,
    stamp_of,
    write_arrays,
    write_artefact,
    write_stamped,
)
from pipeline.errors import UserError
from pipeline.fit.flight_surface import FlightSurface
from pipeline.fit.model import CarryModel, FittedModel, FittedOn
from pipeline.fit.surface import Axis, line, quadratic, splines
from pipeline.fit.tabulated import tabulate
from pipeline.fit.usual_delivery import Line, UsualDelivery
from pipeline.fit.verdict import ModelVerdict
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.flight.offsets import Offsets
from pipeline.statistics.arrays import Array, Flags, flattened, grouped

RNG = np.random.default_rng(1)  # full floats, which a rounding would change
INPUTS = RNG.normal(135, 20, 400), RNG.normal(13, 3, 400), RNG.normal(2700, 500, 400)
USUAL = UsualDelivery(
    Line(91.3, 1.45, 0.1 + 0.2), Line(91.3, 1.48, -1e-17), Line(90.0, 14.0, -0.1), Line(90.0, 2700.0, -9.9)
)


def fitted_model(surface, usual=USUAL, levels=(("device", "unit-B"), ("ball", "range"))):
    model = CarryModel(
        surface,
        RNG.normal(size=surface.size),
        Offsets({"device": "unit-A", "ball": "premium"}, levels),
        RNG.normal(size=len(levels)),
        usual,
        {"nothing": (-0.1, 0.1 / 3), "ball_speed+launch+spin": (-0.02, 0.02)},
        better_share=0.0123456789012345,
    )
    return FittedModel("hill", model, FittedOn(2400, 80, ("2026Q2", "2026Q3")))


def flight_surface():
    knots = tuple((np.linspace(-1.7, 1.7, 5) / 1.1).tolist())
    axes = (Axis(135.0, 20.0, knots=knots), Axis(13.0, 3.0, knots=knots), Axis(2700.0, 500.0, knots=knots))
    return FlightSurface(axes, *RNG.normal(size=(3, 5, 5, 5)), quadratic(INPUTS, "ball"))


def own_surface():
    def terms(speed, launch, spin):
        return {
            "a": np.ones_like(speed),
            "b | c": np.sin(speed),
            "d": launch * spin,
            "e": np.sqrt(launch * spin + speed),
        }

    return tabulate(OwnTerms("own", terms), INPUTS)[0]


def study_flight(**changes):
    offsets = [("device", "unit-B", 2.9999999999999996, 0.31), ("ball", "range", -4.0, 0.5)]
    found = Calibration("lyu-2018", 0.95, 1.02, 0.001, 0.002, offsets, 1500, 60, 2.1, 123.456, "fitted")
    return StudyFlight(replace(found, **changes), 1.46)


def frontier():
    speed = np.arange(80.0, 84.0)
    edges = {"launch_lo_deg": [12.0, 12.1, np.nan, 12.3], "total_spin_hi_rpm": [np.nan, 2600.0, 2700.0, np.nan]}
    near = near_of(speed)
    near = replace(near, mean=RNG.normal(size=(4, 2)), ratio_lo=np.array([1.3, np.nan, 1.31, 1.32]))
    return frontier_at(speed, near=near, carry_yd=RNG.normal(220, 9, 4), golfers=[1.0, 2.5, 3.1, 20.1], **edges)


def chart():
    speeds = np.arange(80.0, 84.0)
    maps = [
        BandMap(
            centre,
            np.arange(3.0),
            np.arange(2.0),
            RNG.normal(200, 9, (3, 2)),
            [RNG.normal(size=(4, 2)), RNG.normal(size=(3, 2))],
            np.arange(2.0),
            np.arange(3.0),
            RNG.random((2, 3)) < 0.5,
            window,
            201.5,
            13.5,
            2600.0,
        )
        for centre, window in ((80.0, Window(12.0, 15.0, 2300.0, 2900.1)), (90.0, None))
    ]
    return Chart("hill", "2026Q3", speeds, *RNG.normal(200, 9, (3, 4)), maps)


ARTEFACTS = {
    "model over a line": fitted_model(line(INPUTS, "club"), replace(USUAL, speed_ratio=None, better_ratio=None), ()),
    "model over a second-order surface": fitted_model(quadratic(INPUTS, "ball")),
    "model over splines": fitted_model(splines(INPUTS, "ball")),
    "model over flight": fitted_model(flight_surface()),
    "model over a researcher's own terms": fitted_model(own_surface()),
    "flight": study_flight(),
    "flight that was not fitted": replace(
        study_flight(drag_std_error=None, lift_std_error=None, offsets=[], residual_sd_yd=None, loss=None),
        speed_ratio=None,
    ),
    "frontier": frontier(),
    "chart": chart(),
    "chart of nobody": Chart("hill", None, *np.zeros((4, 0)), []),
    "first verdict": ModelVerdict("k000000000001", None, "first", ()),
    "verdict": ModelVerdict("k000000000002", "k000000000001", "keep", ("It rests on fewer golfers.", "so it stays")),
    "light tool by common practice": LightTool(1.2, None, None, None, None, "common practice, no source", 4, 2, "few"),
    "light tool": LightTool(1.19, 1.17, 1.2 + 1e-15, 1.1, 1.3, "own paired sessions", 40, 12, "40 sessions"),
}


def check_same(found, given):
    """Values of one type, one shape and the same to the last digit; NaN equals NaN."""
    assert type(found) is type(given)
    if is_dataclass(given):
        for one in fields(given):
            check_same(getattr(found, one.name), getattr(given, one.name))
    elif isinstance(given, np.ndarray):
        assert found.dtype == given.dtype
        np.testing.assert_array_equal(found, given, strict=True)
    elif isinstance(given, dict):
        assert list(found) == sorted(given)
        for name, value in given.items():
            check_same(found[name], value)
    elif isinstance(given, list | tuple):
        assert len(found) == len(given)
        for one, other in zip(found, given, strict=True):
            check_same(one, other)
    else:
        assert found == given


@pytest.mark.parametrize("given", ARTEFACTS.values(), ids=ARTEFACTS)
def test_what_is_read_is_what_was_written(tmp_path, given):
    write_artefact(tmp_path / "it.json", given)
    found = read_artefact(tmp_path / "it.json", type(given))
    check_same(found, given)
    write_artefact(tmp_path / "again.json", found)
    assert (tmp_path / "again.json").read_bytes() == (tmp_path / "it.json").read_bytes()


@pytest.mark.parametrize("name", [name for name in ARTEFACTS if name.startswith("model")])
def test_a_model_that_was_read_predicts_the_same(tmp_path, name):
    given = ARTEFACTS[name]
    write_artefact(tmp_path / "it.json", given)
    found = read_artefact(tmp_path / "it.json", FittedModel)
    np.testing.assert_array_equal(found.model.carry(*INPUTS), given.model.carry(*INPUTS))
    assert found.model.surface.labels == given.model.surface.labels


def test_a_frontier_atout_speeds_answers_as_it_did(tmp_path):
    write_artefact(tmp_path / "it.json", frontier_at([]))
    found = read_artefact(tmp_path / "it.json", Frontier)
    assert len(found.speed_mph) == 0
    assert found.reaches([90.0]).tolist() == [False]


def test_an_unknown_number_is_null_in_the_file(tmp_path):
    write_artefact(tmp_path / "it.json", frontier())
    text = (tmp_path / "it.json").read_text(encoding="utf-8")
    assert json.loads(text)["launch_lo_deg"] == [12.0, 12.1, None, 12.3]
    assert "NaN" not in text


def test_a_missing_file_is_reported(tmp_path):
    with pytest.raises(UserError) as caught:
        read_artefact(tmp_path / "it.json", Frontier)
    assert str(caught.value) == f"{tmp_path}/it.json: the file is missing; run the workflow again, it makes it."


@pytest.mark.parametrize("text", [b"", b'{"study": ', b"study: hill", b'{"study": "\xff"}'])
def test_a_file_that_is_not_json_is_reported(tmp_path, text):
    (tmp_path / "it.json").write_bytes(text)
    with pytest.raises(UserError) as caught:
        read_artefact(tmp_path / "it.json", Frontier)
    said = f"{tmp_path}/it.json: can't be read as JSON; delete it and run the workflow again."
    assert str(caught.value) == said


def error_of_changed(path, given, change):
    """The sentence about an artefact's file whose content was changed."""
    write_artefact(path, given)
    content = json.loads(path.read_text(encoding="utf-8"))
    content = change(content) or content
    path.write_text(json.dumps(content), encoding="utf-8")
    with pytest.raises(UserError) as caught:
        read_artefact(path, type(given))
    return str(caught.value)


def lacking(*keys):
    def change(content):
        for key in keys[:-1]:
            content = content[key]
        del content[keys[-1]]

    return change


def holding(value, *keys):
    def change(content):
        for key in keys[:-1]:
            content = content[key]
        content[keys[-1]] = value

    return change


MODEL, CHART, FRONTIER = ARTEFACTS["model over splines"], ARTEFACTS["chart"], ARTEFACTS["frontier"]
DAMAGED = {
    "no carry": (FRONTIER, lacking("carry_yd"), "carry_yd"),
    "no means": (FRONTIER, lacking("near", "mean"), "near.mean"),
    "a text for an array": (FRONTIER, holding("abc", "carry_yd"), "carry_yd"),
    "a text of a number for an array": (FRONTIER, holding("5", "carry_yd"), "carry_yd"),
    "null for an array": (FRONTIER, holding(None, "carry_yd"), "carry_yd"),
    "a number for an array": (FRONTIER, holding(5.0, "carry_yd"), "carry_yd"),
    "an object for an array": (FRONTIER, holding({"a": 1}, "carry_yd"), "carry_yd"),
    "objects in an array": (FRONTIER, holding([{"a": 1}] * 4, "carry_yd"), "carry_yd"),
    "texts in an array": (FRONTIER, holding(["1", "2", "3", "4"], "carry_yd"), "carry_yd"),
    "a text beside null": (FRONTIER, holding([None, "2"], "carry_yd"), "carry_yd"),
    "flags for numbers": (FRONTIER, holding([True, False], "carry_yd"), "carry_yd"),
    "a flag that is unknown": (
        CHART,
        lambda content: holding([True, None], "reachable")(content["bands"][0]),
        "bands.reachable",
    ),
    "a ragged array": (FRONTIER, holding([[1.0, 2.0], [3.0]], "near", "mean"), "near.mean"),
    "a text for air": (FRONTIER, holding("cold", "air", "temp_c"), "air.temp_c"),
    "a number for a name": (FRONTIER, holding(5, "study"), "study"),
    "a list for everything": (FRONTIER, lambda content: [content], ""),
    "no coefficients": (MODEL, lacking("model", "coefficients"), "model.coefficients"),
    "no line of launch": (MODEL, lacking("model", "usual", "launch"), "model.usual.launch"),
    "a text for a slope": (MODEL, holding("steep", "model", "usual", "launch", "slope"), "model.usual.launch.slope"),
    "half a quarter": (MODEL, holding(0.5, "fitted_on", "drives"), "fitted_on.drives"),
    "one edge of an interval": (MODEL, holding([0.1], "model", "interval", "nothing"), "model.interval.nothing"),
    "no map's window": (CHART, lambda content: lacking("window")(content["bands"][0]), "bands.window"),
    "texts for flags": (CHART, lambda content: holding(["yes"], "reachable")(content["bands"][1]), "bands.reachable"),
    "numbers for flags": (CHART, lambda content: holding([0.5], "reachable")(content["bands"][1]), "bands.reachable"),
    "no drag": (ARTEFACTS["flight"], lacking("calibration", "drag"), "calibration.drag"),
    "no reasons": (ARTEFACTS["verdict"], lacking("reasons"), "reasons"),
    "a text for pairs": (ARTEFACTS["light tool"], holding("many", "pairs"), "pairs"),
    "a column shorter than the others": (ARTEFACTS["frontier"], holding([1.0], "total_yd"), ""),
    "another number of places": (ARTEFACTS["frontier"], holding([[14.0, 2600.0]], "near", "mean"), ""),
}


@pytest.mark.parametrize(("given", "change", "place"), DAMAGED.values(), ids=DAMAGED)
def test_a_file_of_another_form_is_reported_with_the_key_at_fault(tmp_path, given, change, place):
    path = tmp_path / "it.json"
    where = f" (at {place})" if place else ""
    said = f"{path}: isn't what the workflow writes there{where}; delete it and run the workflow again."
    assert error_of_changed(path, given, change) == said


@pytest.mark.parametrize("key", ["terms", "axes"])
def test_a_surface_that_lacks_a_part_is_no_surface_at_all(tmp_path, key):
    sentence = error_of_changed(tmp_path / "it.json", MODEL, lacking("model", "surface", key))
    assert f"isn't what the workflow writes there (at model.surface.Surface.{key}); delete it" in sentence


@dataclass(frozen=True)
class Held:
    numbers: Array
    flags: Flags


@pytest.mark.parametrize("shape", [(0,), (3,), (2, 3), (2, 1, 2)])
def test_arrays_keep_their_shape_and_what_is_not_finite_is_unknown(tmp_path, shape):
    numbers = RNG.normal(size=shape)
    numbers.ravel()[1::2] = np.inf
    given = Held(numbers, RNG.random(shape) < 0.5)
    write_artefact(tmp_path / "it.json", given)
    found = read_artefact(tmp_path / "it.json", Held)
    np.testing.assert_array_equal(found.numbers, np.where(np.isfinite(numbers), numbers, np.nan), strict=True)
    np.testing.assert_array_equal(found.flags, given.flags, strict=True)


def test_groups_of_named_arrays_come_back_from_one_file(tmp_path):
    given = {"k1": {"a line": np.arange(3.0), "b": np.array(["x"])}, "k2": {"a line": np.zeros((0, 2))}}
    write_arrays(tmp_path / "it.npz", flattened({**given, "k3": {}}))
    found = grouped(read_arrays(tmp_path / "it.npz"))
    assert {group: set(arrays) for group, arrays in found.items()} == {"k1": {"a line", "b"}, "k2": {"a line"}}
    for group, arrays in given.items():
        for name, values in arrays.items():
            np.testing.assert_array_equal(found[group][name], values, strict=True)


def test_named_arrays_come_back_as_they_were(tmp_path):
    given = {"counts": np.array([[0, 3], [255, 1]], dtype=np.uint8), "line": np.array([1.5, np.nan]), "no": np.zeros(0)}
    write_arrays(tmp_path / "it.npz", given)
    found = read_arrays(tmp_path / "it.npz")
    assert set(found) == set(given)
    for name, values in given.items():
        np.testing.assert_array_equal(found[name], values, strict=True)


def test_a_missing_file_of_arrays_is_reported(tmp_path):
    with pytest.raises(UserError) as caught:
        read_arrays(tmp_path / "it.npz")
    assert str(caught.value) == f"{tmp_path}/it.npz: the file is missing; run the workflow again, it makes it."


def of_half_its_size(content):
    return content[: len(content) // 2]


def with_a_flipped_byte(content):
    place = len(content) // 3
    return content[:place] + bytes([content[place] ^ 0xFF]) + content[place + 1 :]


@pytest.mark.parametrize("damage", [of_half_its_size, with_a_flipped_byte, lambda _: b"", lambda _: b"no arrays"])
def test_damaged_arrays_are_reported(tmp_path, damage):
    path = tmp_path / "it.npz"
    write_arrays(path, {"line": np.arange(400.0)})
    path.write_bytes(damage(path.read_bytes()))
    with pytest.raises(UserError) as caught:
        read_arrays(path)
    assert str(caught.value) == f"{path}: can't be read as arrays; delete it and run the workflow again."


def test_stamped_arrays_are_taken_under_the_same_stamp_and_versions_alone(tmp_path, monkeypatch):
    path = tmp_path / "it.npz"
    write_stamped(path, {"line": np.arange(4.0)}, "this")
    assert list(read_stamped(path, "this")) == ["line"]
    assert read_stamped(path, "that") == read_stamped(tmp_path / "none.npz", "this") == {}
    write_arrays(tmp_path / "plain.npz", {"line": np.arange(4.0)})
    assert read_stamped(tmp_path / "plain.npz", "this") == {}
    write_stamped(tmp_path / "unstamped.npz", {"line": np.arange(4.0)}, "")
    assert read_stamped(tmp_path / "unstamped.npz", "") == {}
    monkeypatch.setattr(artefacts, "version", lambda _: "0.1")
    assert read_stamped(path, "this") == {}
    monkeypatch.undo()
    path.write_bytes(with_a_flipped_byte(path.read_bytes()))
    assert read_stamped(path, "this") == {}


def test_a_stamp_is_of_what_files_hold_and_of_the_choices(tmp_path):
    one, other = tmp_path / "one", tmp_path / "other"
    one.write_text("a", encoding="utf-8")
    other.write_text("a", encoding="utf-8")
    assert stamp_of([one], "x", {"b": 1, "a": 2}) == stamp_of([other], "x", {"a": 2, "b": 1})
    stamps = {stamp_of([one], "x"), stamp_of([one], "y"), stamp_of([one, other], "x"), stamp_of([], "x")}
    other.write_text("b", encoding="utf-8")
    assert len(stamps | {stamp_of([other], "x")}) == 5
