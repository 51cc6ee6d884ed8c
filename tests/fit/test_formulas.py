import numpy as np
import pytest
from fitting import candidate_named, hold_out, numbers_of

from pipeline.errors import UserError
from pipeline.fit.candidates import tabulated
from pipeline.fit.formulas import Formula
from pipeline.fit.scores import score
from pipeline.fit.surface import Extent
from pipeline.fit.survey import Survey
from pipeline.fit.tabulated import tabulate

SECOND_ORDER = "(ball + launch + spin)**2 + power(ball, 2) + power(launch, 2) + power(spin, 2)"


@pytest.fixture(scope="module")
def inputs():
    rng = np.random.default_rng(1)
    return rng.normal(137, 18, 2000), rng.normal(13, 3, 2000).clip(1, 27), rng.normal(2700, 600, 2000).clip(700, 6000)


def surface_of(text, inputs):
    return tabulate(Formula.read("curved", text), inputs)[0]


@pytest.mark.parametrize(
    ("text", "speed", "labels"),
    [
        ("ball * launch", "ball", ("intercept", "ball", "launch", "ball:launch")),
        ("club + I(spin / 1000)", "club", ("intercept", "club", "I(spin / 1000)")),
        ("launch + log(spin) - 1", "club", ("launch", "log(spin)")),
        ("np.log(ball) + I(-launch)", "ball", ("intercept", "np.log(ball)", "I(-launch)")),
        ("center(ball)", "ball", ("intercept", "center(ball)")),
        ("te(cr(ball, df=3), cr(launch, 3), constraints='center')", "ball", None),
        ("bs(spin, knots=(2000, 3500), degree=2, include_intercept=False)", "club", None),
    ],
)
def test_formulas_say_their_speed_and_terms(text, speed, labels, inputs):
    formula = Formula.read("curved", text)
    assert (formula.name, formula.speed, formula.origin) == ("curved", speed, text)
    surface = surface_of(text, inputs)
    assert surface.size > 1
    assert labels is None or surface.labels == labels


def test_columns_are_what_the_formula_says(inputs):
    surface = surface_of("I(ball ** 2) + exp(-spin / 3000) : launch + standardize(launch)", inputs)
    speed, launch, spin = inputs
    columns = dict(zip(surface.labels, surface.design(*inputs).T, strict=True))
    np.testing.assert_allclose(columns["I(ball ** 2)"], speed**2, rtol=1e-5)
    np.testing.assert_allclose(columns["exp(-spin / 3000):launch"], np.exp(-spin / 3000) * launch, rtol=1e-3)
    z = columns["standardize(launch)"]
    assert abs(z.mean()) < 0.05
    assert z.std() == pytest.approx(1, abs=0.05)


def test_a_spline_bends_at_the_quantiles_of_the_drives(inputs):
    # Reference: the same basis by patsy itself on the drives, whose outer knots are the ends of the grid.
    from patsy import dmatrix

    surface = surface_of("bs(ball, df=5)", inputs)
    (lo, hi), *_ = surface.ends
    direct = np.asarray(dmatrix(f"bs(x, df=5, lower_bound={lo!r}, upper_bound={hi!r})", {"x": inputs[0]}))
    assert np.max(np.abs(surface.design(*inputs) - direct)) < 0.05
    y = 60 * np.sin(inputs[0] / 25)
    by_both = [X @ np.linalg.lstsq(X, y, rcond=None)[0] for X in (surface.design(*inputs), direct)]
    assert np.max(np.abs(by_both[0] - by_both[1])) < 0.5
    beyond = np.array([20.0, 240.0])  # bs() itself raises there
    assert np.isfinite(surface.design(beyond, inputs[1][:2], inputs[2][:2])).all()


def test_the_form_depends_on_the_spread_of_inputs_alone(inputs):
    extents = [Extent.of(x) for x in inputs]
    text = "bs(ball, df=5) + center(launch) + cr(spin, df=4)"
    one, two = surface_of(text, inputs), surface_of(text, extents)
    assert one.labels == two.labels
    for a, b in zip(one.tables, two.tables, strict=True):
        np.testing.assert_array_equal(a.values, b.values, strict=True)


def test_the_second_order_surface_as_a_formula_scores_the_same(world):
    survey = Survey.of(world.drives)
    written = tabulated(Formula.read("second", SECOND_ORDER), "ball", survey.extents)
    assert written.surface(survey.extents).size == 10
    rmse = [
        score(hold_out(one, survey, [(True, True, True)]), numbers_of(survey.drives))["rmse_yd"]
        for one in (candidate_named("quadratic"), written)
    ]
    assert rmse[1] == pytest.approx(rmse[0], abs=1e-4)


WRONG = [
    ("ball +", "expected a noun, but instead the expression ended"),
    ("ball + club", "uses both ball and club; a candidate goes by one speed"),
    ("carry ~ ball", "has a left side; write only what stands right of ~"),
    ("", "uses none of ball, club, launch, spin"),
    ("1", "uses none of ball, club, launch, spin"),
    ("0", "has no terms"),
    ("ball + I(2)", "'I(2)' uses no input"),
    ("bal", "'bal' isn't known; a formula may use ball, club, launch, spin"),
    ("ball launch", "'ball launch' isn't an expression"),
    ("bs(ball)", "must specify either df or knots"),
    ("bs(ball, knots=[500])", "some knot values ([500]) fall above upper bound"),
    ("bs(ball, df=5, lower_bound=130)", "'bs(ball, df=5, lower_bound=130)' can't have lower_bound="),
    ("bs(ball, df=21)", "'bs(ball, df=21)' must ask for a whole number of columns, 20 at most"),
    ("cr(ball, launch)", "must ask for a whole number of columns, 20 at most"),
    ("bs(ball, df=20) * bs(launch, df=20)", "has 441 terms; 200 are the most"),
    ("log(launch - 9)", "log(launch - 9) must be a finite number everywhere at club speed "),
    ("power(ball, 400)", "must be a finite number everywhere at ball speed "),
    ("ball" + " + ball" * 100, "has 704 characters; 500 are the most"),
    # What study.yaml, being data, may not do.
    ("__import__('os').system('id')", "\"__import__('os').system\" can't be called; a formula may hold ball or club"),
    ("ball.tofile('x')", "'ball.tofile' can't be called"),
    ("np.load('x')", "'np.load' can't be called"),
    ("np.linalg.inv(ball)", "'np.linalg.inv' can't be called"),
    ("eval('1')", "'eval' can't be called"),
    ("Q('ball')", "'Q' can't be called"),
    ("log(ball, out=spin)", "'log(ball, out=spin)' can't have out="),
    ("ball.__class__", "'ball.__class__' in 'ball.__class__' can't be used"),
    ("[x for x in ball]", "can't be used"),
    ("ball[0]", "can't be used"),
    ("(ball := 3)", "isn't an expression"),
    ("I(ball ** (9 ** 9 ** 9))", "'9 ** 9' in 'I(ball ** (9 ** 9 ** 9))' can't be used"),
    ("I(ball > 120)", "'ball > 120' in 'I(ball > 120)' can't be used"),
    ("te(cr(ball,3), cr(launch,3), cr(spin,3), cr(spin,4))", "joins more than 3 bases"),
]


@pytest.mark.parametrize(("text", "found"), WRONG)
def test_what_is_wrong_with_a_formula_is_one_sentence(text, found, inputs):
    with pytest.raises(UserError) as caught:
        surface_of(text, inputs)
    told = str(caught.value)
    assert told.startswith("model.formulas.curved in study.yaml: ")
    assert found in told
    assert told.endswith("; correct the formula.")
    assert "\n" not in told
