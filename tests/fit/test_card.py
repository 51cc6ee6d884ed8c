import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest
from by_hand import Splined, carry_by_hand, figure, fly_itself, tables
from fitting import candidate_named
from markdown_it import MarkdownIt

from pipeline.configuration.study import Efficient, StandardAir
from pipeline.fit.card import CardFacts, card_text
from pipeline.fit.card_formula import flight_gap
from pipeline.fit.contest import hold_contest
from pipeline.fit.flight_surface import FlightMaker
from pipeline.fit.held_out import EVERYTHING, edges_at, held_out_table
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.fit.scores import Choice
from pipeline.fit.surface import Surface
from pipeline.fit.survey import Survey
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball

AIR = StandardAir()
DRAG, LIFT = 0.9274936488326824, 1.0144478542265887
FLIGHT = StudyFlight(Calibration("indoor-range-2001", DRAG, LIFT, 0.002, 0.004, [], 2000, 80, 3.2, 1.0, "fitted"), 1.46)
# Ball or club speed, launch and spin: usual, slow, fast and low, and one beyond the outer knots.
DRIVES = [(132.0, 13.5, 2650.0), (104.0, 15.0, 3100.0), (163.0, 10.2, 2150.0), (99.5, 18.4, 3900.0)]


def facts(name, drives, **changes):
    """Fit a single candidate and gather what its card says; give coefficients.csv beside it."""
    survey = Survey.of(drives, 1)
    flight = FlightMaker.of(Ball("indoor-range-2001", DRAG, LIFT), Air.of(15.0, 101325.0, 0.0), survey.extents["ball"])
    found = hold_contest([candidate_named(name, flight=flight)], survey, lambda _: None)
    shares = replace(
        found.model,
        offset_std_error=np.full(len(found.model.offsets.levels), 0.001),
        offset_golfers=np.full(len(found.model.offsets.levels), 27.0),
    )
    held = held_out_table(found.held_out, drives.with_columns(source=pl.lit("a.csv"), row=pl.int_range(pl.len())))
    on = CardFacts(
        id="k0123456789ab",
        fitted=FittedModel("hill-school", shares, FittedOn(survey.shots, survey.typical.height, ("2026Q3",))),
        scores=found.scores,
        choice=Choice(name, name),
        extents=survey.extents,
        residual_sd_yd=3.141,
        gap=None,
        flight=FLIGHT,
        air=AIR,
        seed=1,
        folds=10,
        replicates=200,
        efficient=Efficient(),
        level=0.9,
        intervals=edges_at(0.9, held),
    )
    return replace(on, **changes), found.coefficients.write_csv()


@pytest.fixture(scope="module")
def made(world):
    return {name: facts(name, world.drives) for name in ("line", "quadratic", "splines", "flight")}


def by_model(on, drive):
    return float(on.fitted.model.carry(*(np.array([value]) for value in drive))[0])


@pytest.mark.parametrize("name", ["line", "quadratic", "splines"])
def test_carry_can_be_calculated_by_hand(made, name):
    on, coefficients = made[name]
    card = card_text(on)
    over = 1.46 if name == "line" else 1.0  # the line takes club speed
    drives = [(speed / over, launch, spin) for speed, launch, spin in DRIVES]
    by_hand = [carry_by_hand(card, coefficients, drive) for drive in drives]
    assert by_hand == pytest.approx([by_model(on, drive) for drive in drives], abs=0.01)
    assert max(by_hand) - min(by_hand) > 80


def test_carry_by_flight_can_be_calculated_by_hand(made):
    on, coefficients = made["flight"]
    card = card_text(on)
    expected = [by_model(on, drive) for drive in DRIVES]
    splined = Splined(card)
    assert [carry_by_hand(card, coefficients, drive, flown=splined) for drive in DRIVES] == pytest.approx(
        expected, abs=0.01
    )
    # Each drive flown itself: these drives are near enough together for the splines to follow flight to 0.1 yd.
    itself = [carry_by_hand(card, coefficients, drive, flown=fly_itself) for drive in DRIVES]
    assert itself == pytest.approx(expected, abs=0.1)


def test_the_card_says_how_far_the_splines_are_from_flight(made, world):
    on, coefficients = made["flight"]
    some = world.drives.head(60)
    found = flight_gap(on.fitted.model, some, FLIGHT.calibration.ball, Air.of(15.0, 101325.0, 0.0))
    card = card_text(replace(on, gap=found))
    drives = some.select("ball_speed_mph", "launch_deg", "spin_rpm").rows()
    away = [carry_by_hand(card, coefficients, one, flown=fly_itself) - by_model(on, one) for one in drives]
    assert found.most_yd == pytest.approx(np.max(np.abs(away)), abs=1e-6)
    assert found.rms_yd == pytest.approx(np.sqrt(np.mean(np.square(away))), abs=1e-6)
    assert f"the same to {found.rms_yd:.2f} yd (root mean square over 60 drives of the fit)" in card
    assert flight_gap(made["line"][0].fitted.model, some, FLIGHT.calibration.ball, None) is None


def test_a_spline_axis_with_few_values_has_powers(world):
    few = world.drives.with_columns(launch_deg=pl.when(pl.col("launch_deg") > 14).then(15.0).otherwise(12.0))
    few = few.with_columns(launch_deg=pl.when(pl.int_range(pl.len()) % 50 == 0).then(9.0).otherwise("launch_deg"))
    few = few.with_columns(launch_deg=pl.when(pl.int_range(pl.len()) % 70 == 0).then(18.0).otherwise("launch_deg"))
    on, coefficients = facts("splines", few)
    assert isinstance(on.fitted.model.surface, Surface)
    assert on.fitted.model.surface.axes[1].knots == ()
    card = card_text(on)
    assert dict(tables(card)["part"])["launch_3"] == "z^3"
    for drive in DRIVES[:2]:
        assert carry_by_hand(card, coefficients, drive) == pytest.approx(by_model(on, drive), abs=0.01)


def test_devices_are_expected_at_their_share(made):
    on, coefficients = made["quadratic"]
    drive = DRIVES[0]
    share = dict(zip(on.fitted.model.offsets.labels, on.fitted.model.offset_share, strict=True))["device:unit-B"]
    by_hand = carry_by_hand(card_text(on), coefficients, drive, ["device:unit-B"])
    assert by_hand == pytest.approx(by_model(on, drive) * (1 + share), abs=0.01)
    assert share == pytest.approx(0.03, abs=0.01)


@pytest.mark.parametrize("name", ["line", "quadratic", "splines", "flight"])
def test_the_card_gives_a_drive_to_check_with(made, name):
    on, coefficients = made[name]
    card = card_text(on)
    speed, launch, spin, carry = (
        float(one)
        for one in re.search(
            r"A drive of (\S+) mph of \w+ speed, launched at (\S+) deg with (\S+) rpm, is expected to carry (\S+) yd",
            card,
        ).groups()
    )
    found = carry_by_hand(card, coefficients, (speed, launch, spin), flown=fly_itself)
    assert found == pytest.approx(carry, abs=0.1 if name == "flight" else 0.01)


def test_the_card_says_what_it_rests_on(made):
    on, _ = made["flight"]
    card = card_text(replace(on, seed=7, folds=5, replicates=150, level=0.8, intervals={EVERYTHING: (-0.02, 0.021)}))
    for said in (
        "Model k0123456789ab.",
        "- drag and lift coefficients: indoor-range-2001 (",
        "- multipliers: fitted to 2,000 drives of 80 golfers",
        "- standard conditions: 15 deg C, 1013.25 hPa and humidity 0, no wind",
        "- seed 7, 5 folds of golfers, 150 refits on resampled golfers",
        "launch and spin of 80 % of golfers' deliveries about it, struck with the speed ratio that 75 % of golfers",
        "80 % interval of one drive, as a share of its expected carry:\n- everything is known: -2.0% to +2.1%",
        "- the study's own level is 80 %: model/intervals.csv",
        "2,400 drives of 80 golfers, quarter 2026Q3",
        f"  - device unit-B: {on.fitted.model.offset_share[0]:+.2%}, std. error 0.10%, 27 golfers",
        "scatter about it by 3.14 yd",
    ):
        assert said in card, said
    assert (figure(card, "drag multiplier"), figure(card, "lift multiplier")) == (DRAG, LIFT)


def test_the_card_says_that_a_study_named_its_model(made):
    on, _ = made["line"]
    card = card_text(replace(on, choice=Choice("line", "flight", forced=True)))
    assert "The study names line as the model to use (model.choose in study.yaml)." in card
    assert "The contest would have chosen flight" in card


def test_levels_from_logs_do_not_break_the_card(made):
    on, _ = made["quadratic"]
    offsets = replace(
        on.fitted.model.offsets, levels=(("device", "a|b\nc"),), reference={"device": "x\ny", "ball": "p|q"}
    )
    model = replace(on.fitted.model, offsets=offsets)
    card = card_text(replace(on, fitted=replace(on.fitted, model=model)))
    assert "  - device a&#124;b c: " in card
    assert "- reference: device x y, ball p&#124;q; others" in card


def test_names_from_logs_are_no_markup_in_the_card(made):
    on, _ = made["quadratic"]
    reference = {"device": "<script>alert(1)</script>", "ball": "*soft* `x`"}
    offsets = replace(on.fitted.model.offsets, levels=(("ball", "[a](b)"),), reference=reference)
    model = replace(on.fitted.model, offsets=offsets)
    card = card_text(replace(on, fitted=replace(on.fitted, model=model)))
    page = MarkdownIt("commonmark", {"html": True}).enable("table").render(card)
    assert "device &lt;script&gt;alert(1)&lt;/script&gt;, ball *soft* `x`; others" in page
    assert "ball [a](b): " in page
    assert not [tag for tag in ("<script", "<em>", "<a ") if tag in page]


def test_a_study_of_one_device_says_so(world):
    one = world.drives.with_columns(device=pl.lit("unit-A"))
    on, _ = facts("quadratic", one)
    assert "ball premium; no other device or ball has a share of carry of its own\n" in card_text(on)


def test_further_columns_of_a_model_are_explained(made):
    on, _ = made["quadratic"]
    model = replace(on.fitted.model)
    object.__setattr__(model, "regressors", SimpleNamespace(names=("attack_deg",), centers=np.array([1.25])))
    card = card_text(replace(on, fitted=replace(on.fitted, model=model)))
    assert tables(card)["regressor"] == [["attack_deg", "1.25"]]
    assert "regressor" not in card_text(on)
