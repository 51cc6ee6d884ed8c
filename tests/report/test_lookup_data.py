import base64
import hashlib
import html
import json
import re

import numpy as np
import pytest
from frontiers import frontier_at
from scipy.interpolate import make_interp_spline

from pipeline.benchmark.lookup_command import Asked, place_of, read_results
from pipeline.errors import UserError
from pipeline.fit.model import FittedOn
from pipeline.fit.surface import Axis, contract
from pipeline.flight.calibrate import Calibration
from pipeline.physics.ball import SETS
from pipeline.report.lookup import write_lookup
from pipeline.report.lookup.lookup_data import lookup_data, surface_data
from pipeline.report.lookup.lookup_page import build_lookup_page, conditions_text
from pipeline.texts.catalogue import told

KINDS = ["line", "flight", "quadratic", "splines", "blind line", "blind quadratic", "blind splines", "bent flight"]
FITTED = FittedOn(2400, 80, ("2026Q3",))
AIR = {"temp_c": 15.0, "pressure_hpa": 1013.25, "humidity": 0.0}


def page_of(data):
    return build_lookup_page(data, study="hill-school", fitted_on=FITTED, conditions="calm air", window_tolerance_yd=5)


def embedded(page):
    return json.loads(re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.S).group(1))


@pytest.fixture
def place():
    kept = Calibration("smits-smith-1994", 0.93, 1.04, None, None, [], 0, 0, None, None, "")
    return place_of(kept, AIR, "firm", Asked())


@pytest.fixture
def data(lookup_folder):
    found = read_results(lookup_folder("quadratic"), Asked())
    return lookup_data(found.model, found.frontier, found.place, found.model.coefficients[None, :])


@pytest.mark.parametrize(("strike", "named"), [(0.75, "better quarter"), (0.5, "better half")])
def test_the_page_says_whose_strike_is_efficient(data, strike, named):
    conditions = {"study": "hill-school", "fitted_on": FITTED, "conditions": "calm air", "window_tolerance_yd": 5}
    page = build_lookup_page(data, **conditions, strike=strike)
    assert f"really produce, struck as the {named} strike it. The likely range" in page


@pytest.mark.parametrize("kind", KINDS)
def test_a_surface_is_written_with_the_digits_that_its_carry_needs(lookup_models, kind):
    model, _ = lookup_models[kind]
    random = np.random.default_rng(5)
    drives = random.uniform(75, 175, 200), random.uniform(4, 24, 200), random.uniform(1200, 4500, 200)

    written = json.loads(json.dumps(surface_data(model.surface, model.coefficients, model.coefficients[None, :])))

    axes = [Axis(a["centre"], a["scale"], a["degree"], tuple(a["knots"])) for a in written["axes"]]
    bases = [axis.basis(x) for axis, x in zip(axes, drives, strict=True)]
    terms = [np.prod([basis[:, k] for basis, k in zip(bases, term, strict=True)], axis=0) for term in written["terms"]]
    fitted = np.array(written["coefficients"])
    base, flown = 0.0, []
    if written["flight"] is not None:
        weights = [_spline_weights(axis, x) for axis, x in zip(written["flight"]["axes"], drives, strict=True)]
        shape = [w.shape[1] for w in weights]
        base, *flown = (
            contract(np.reshape(written["flight"][name], shape), *weights) for name in ("carry", "drag", "lift")
        )
    total = base + np.column_stack([*flown, *terms]) @ fitted
    assert total == pytest.approx(model.carry(*drives), abs=1e-6)


def _spline_weights(axis, x):
    """Give what each knot's value weighs in the natural cubic spline, straight beyond the knots, at x."""
    knots = axis["centre"] + axis["scale"] * np.array(axis["knots"])
    spline = make_interp_spline(knots, np.eye(len(knots)), k=3, bc_type="natural")
    inside = np.clip(x, knots[0], knots[-1])
    return spline(inside) + (x - inside)[:, None] * spline.derivative()(inside)


def test_the_refits_spread_is_their_covariance(lookup_models):
    model, _ = lookup_models["flight"]
    refits = np.random.default_rng(1).normal(size=(40, len(model.coefficients)))
    rows = surface_data(model.surface, model.coefficients, refits)["covariance"]
    moved = np.random.default_rng(2).normal(size=len(rows))
    whole = np.array([[rows[max(i, j)][min(i, j)] for j in range(len(rows))] for i in range(len(rows))])
    assert np.sqrt(moved @ whole @ moved) == pytest.approx(np.std(refits @ moved), rel=1e-12)


def test_a_missing_window_is_null_and_the_rest_are_the_frontiers_figures(data):
    frontier = data["frontier"]
    at = dict(zip(frontier["speed_mph"], frontier["columns"]["launch_lo_deg"], strict=True))
    assert [at[speed] for speed in (74.0, 75.0, 76.0, 77.0)] == [13.0, None, None, 13.0]
    assert dict(zip(frontier["speed_mph"], frontier["columns"]["carry_yd"], strict=True))[100.0] == pytest.approx(
        245 + 1 / 3
    )


def test_embedded_data_are_the_data_and_never_markup(data):
    data["study"] = "</script><script>alert('hill & school')</script>"

    page = page_of(data)

    assert embedded(page) == json.loads(json.dumps(data))
    assert "alert('hill" not in page
    assert page.count("<script") == page.count("</script>") == 3


def test_the_policy_allows_the_pages_own_script_and_style_and_nothing_else(data):
    page = page_of(data)
    inner = {"script-src": re.search(r"<script>(.*?)</script>", page, re.S), "style-src": None}
    inner["style-src"] = re.search(r"<style>(.*?)</style>", page, re.S)
    digests = {
        name: base64.b64encode(hashlib.sha256(found.group(1).encode()).digest()).decode()
        for name, found in inner.items()
    }

    policy = html.unescape(re.search(r'Content-Security-Policy" content="([^"]*)"', page).group(1))

    assert dict(part.split(" ", 1) for part in policy.split("; ")) == {
        "default-src": "'none'",
        "base-uri": "'none'",
        "form-action": "'none'",
        # The installed page's files, which lie beside it.
        **dict.fromkeys(("img-src", "manifest-src", "worker-src"), "'self'"),
        **{name: f"'sha256-{digest}'" for name, digest in digests.items()},
    }


def test_every_coefficient_set_has_its_formula_in_the_script(data):
    table = re.search(r"const COEFFICIENTS = \{(.*?)\n\};", page_of(data), re.S).group(1)
    assert set(re.findall(r'"([^"]+)": \{', table)) == set(SETS)


@pytest.mark.parametrize(
    ("humidity", "reference", "told"),
    [
        (
            0.0,
            {"device": "unit-A", "ball": "premium"},
            "dry, soft turf, on the scale of device unit-A and ball premium",
        ),
        (0.4, {"device": "unit-A", "ball": "unstated"}, "40 % humidity, soft turf, on the scale of device unit-A"),
        (0.4, {"device": "unstated", "ball": "unstated"}, "40 % humidity, soft turf"),
    ],
)
def test_conditions_are_told(humidity, reference, told):
    text = conditions_text(AIR | {"humidity": humidity}, "soft", reference)
    assert text == f"calm air of 15 deg C and 1013.25 hPa, {told}"


def test_a_study_without_benchmarks_gets_a_page_that_says_so(lookup_models, place):
    model, _ = lookup_models["quadratic"]
    data = lookup_data(model, frontier_at([]), place, model.coefficients[None, :])
    assert html.escape(told("refusals", "no_benchmarks")) in page_of(data)
    assert embedded(page_of(data))["frontier"]["speed_mph"] == []


def test_the_step_writes_the_same_bytes_again(lookup_folder, tmp_path):
    folder = lookup_folder("flight")
    paths = {
        "model": "model/model.json",
        "frontier": "model/frontier.json",
        "calibration": "flight/calibration.json",
        "replicates": "model/replicates.npz",
        "pace": "golfers/pace.json",
        "usual_reaching": "golfers/usual_reaching.json",
    }
    paths = {name: str(folder / path) for name, path in paths.items()}
    write_lookup.run(**paths, page=str(tmp_path / "again.html"), window_tolerance_yd=5, min_golfers=5)
    assert (tmp_path / "again.html").read_bytes() == (folder / "report/lookup.html").read_bytes()


@pytest.mark.parametrize(
    ("content", "told"), [(None, "model.json: the file is missing"), ("{", "model.json: can't be read as JSON")]
)
def test_the_step_names_an_input_that_it_cannot_use(tmp_path, content, told):
    path = tmp_path / "model.json"
    if content is not None:
        path.write_text(content, encoding="utf-8")
    with pytest.raises(UserError, match=told):
        write_lookup.run(*[str(path)] * 6, str(tmp_path / "lookup.html"), 5, 5)
    assert not (tmp_path / "lookup.html").exists()
