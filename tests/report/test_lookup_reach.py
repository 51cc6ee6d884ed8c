"""How often drives reach a distance, on the coach's page: the package's figures, from no more than a page may say."""

from dataclasses import replace

import numpy as np
import pytest
from lookup_studies import MIN_GOLFERS, LookupStudy, random_conditions, random_drive, usual_drives

from pipeline.report.lookup.lookup_data import lookup_data
from pipeline.report.lookup.reaching import LEAST_FOLD, protected, reaching_data
from pipeline.statistics.drive_spread import LEVELS, UsualReaching

USUAL = UsualReaching(usual_drives(0.032), usual_drives(0.028))
RELATIVE = 1e-6
# Efficient carry in another air is looked up between flown nodes, to a tenth of a yard.
ELSEWHERE = 5e-3
EACH = 8


@pytest.fixture(scope="module")
def studies(lookup_models):
    return {
        name: replace(LookupStudy.of(*lookup_models[name]), usual=USUAL)
        for name in ("flight", "splines", "blind quadratic")
    }


@pytest.fixture
def open_study(open_page, tmp_path):
    return lambda study: open_page(study.page(tmp_path / "lookup.html")).page


# The others, and another seed, in CI.
@pytest.mark.parametrize(
    "name", ["flight", *(pytest.param(name, marks=pytest.mark.bench) for name in ("splines", "blind quadratic"))]
)
@pytest.mark.parametrize("seed", [11, pytest.param(12, marks=pytest.mark.bench)])
def test_random_questions_agree_with_the_package(open_study, studies, name, seed):
    study, random = studies[name], np.random.default_rng(seed)
    page, answered, of_goals = open_study(study), 0, 0
    for conditions in ({}, random_conditions(random), {"wind_mph": -14.0, "turf": "firm"}):
        here = study.at(conditions)
        for distance in ("carry", "total"):
            drives = [random_drive(random) for _ in range(EACH)]
            goals = [round(float(random.uniform(170, 270)), 1) for _ in drives]
            wishes = [
                drive | {"goal_yd": goal, "distance": distance} for drive, goal in zip(drives, goals, strict=True)
            ]
            found = page.evaluate(
                """([wishes, here]) => wishes.map((wish) => {
                  const plan = planGoal(DATA, wish, here);
                  return [distancesReached(DATA, wish, here, wish.distance === "carry"),
                    sharesOfGoal(DATA, wish, plan, here)];
                })""",
                [wishes, conditions],
            )
            for wish, (distances, shares) in zip(wishes, found, strict=True):
                right, planned = here.reaching(wish)
                assert (distances is None) == (right is None), wish
                if right is None:
                    continue
                answered += 1
                assert distances == pytest.approx(right["distances"], rel=RELATIVE), wish
                if shares is None:
                    continue
                assert list(shares.values())[:3] == pytest.approx(right["shares"], rel=RELATIVE, abs=1e-9), wish
                if planned is not None:
                    of_goals += 1
                    apart = {"rel": RELATIVE, "abs": 1e-9} if not conditions else {"abs": ELSEWHERE}
                    for key, value in planned.items():
                        assert shares[key] == (value if value is None else pytest.approx(value, **apart)), (wish, key)
    assert answered > 2 * EACH
    assert of_goals > EACH


def test_a_page_without_drives_enough_says_nothing(open_study, studies):
    few = UsualReaching(*[usual_drives(0.03, golfers=LEAST_FOLD * MIN_GOLFERS - 1)] * 2)
    page = open_study(replace(studies["flight"], usual=few))
    script = "(() => { const one = { club: 97 }; return [DATA.reaching, distancesReached(DATA, one)]; })()"
    assert page.evaluate(script) == [None, None]


def test_tails_that_few_golfers_show_keep_only_their_mean():
    usual = usual_drives(0.03, golfers=80)
    found = protected(usual, MIN_GOLFERS)
    tail = MIN_GOLFERS / usual.golfers
    kept = (tail <= LEVELS) & (1 - tail >= LEVELS)
    assert found.shape[kept] == pytest.approx(usual.shape[kept], abs=0.005)
    assert np.all(np.diff(found.shape) >= 0)
    # Two tails with the same mean are told alike, wherever a single drive fell. The outermost level stands for all
    # beyond it, and so weighs more than the half step to the next.
    low, high = usual.shape.copy(), usual.shape.copy()
    weigh = [LEVELS[0] + (LEVELS[1] - LEVELS[0]) / 2, (LEVELS[11] - LEVELS[9]) / 2]
    low[0] -= 2.0
    low[10] += 2.0 * weigh[0] / weigh[1]
    assert tail > LEVELS[11]
    assert protected(replace(usual, shape=low), MIN_GOLFERS).shape == pytest.approx(found.shape, abs=0.011)
    high[-1] += 1.0
    assert protected(replace(usual, shape=high), MIN_GOLFERS).shape[-1] > found.shape[-1]


def test_told_tails_hardly_move_a_share():
    for golfers, most in ((80, 0.01), (LEAST_FOLD * MIN_GOLFERS, 0.03)):
        usual = usual_drives(0.03, golfers=golfers)
        distances = np.arange(150.0, 270.0, 2.0)
        for known in (0.0, 1.0):
            both = [one.about(230.0, known) for one in (usual, protected(usual, MIN_GOLFERS))]
            shares = np.array([[one.share_reaching(yards)[0][0] for yards in distances] for one in both])
            assert abs(shares[0] - shares[1]).max() < most


def test_the_page_has_shapes_of_golfers_together_and_nothing_of_one(studies):
    study = studies["flight"]
    data = reaching_data(USUAL, study.model, MIN_GOLFERS)
    assert set(data) == {"carry", "total", "known", "levels", "nodes", "weights", "halvings"}
    assert all(value == round(value, 2) for value in data["carry"]["shape"])
    here = study.at({})
    whole = lookup_data(study.model, study.frontier, here.place, study.refits, study.gain, data)
    assert whole["reaching"] == data
    assert reaching_data(None, study.model, MIN_GOLFERS) is None
    assert reaching_data(UsualReaching(None, None), study.model, MIN_GOLFERS) is None
    assert set(data["known"]) == set(study.model.interval)
    assert (data["known"]["nothing"], data["known"]["ball_speed+launch+spin"]) == (0.0, 1.0)
