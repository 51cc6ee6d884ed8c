"""Two fits of the same swings, of whose drives only the device or ball differs: the figures' move is told as that."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from two_fits import RULES, SHOTS, compared, side_of, swings, with_others

from pipeline.benchmark.efficient import Population, efficient_at
from pipeline.benchmark.published import (
    BenchmarkRules,
    published_at,
    published_moves,
    usual_moves,
)
from pipeline.benchmark.published_text import answer_of, published_lines, shown_moves, usual_lines
from pipeline.configuration.study import StandardAir
from pipeline.drives import Drives
from pipeline.fit.comparison import judge
from pipeline.fit.comparison_text import write_comparison
from pipeline.fit.findings import drives_of_old
from pipeline.fit.references import SAME, References
from pipeline.flight.devices import DeviceReadings, StudyDevices

MOST, FEW = SHOTS * 2 // 3, SHOTS // 3
CENTRES = (80.0, 90.0, 100.0)


@pytest.fixture(scope="module")
def made(world_maker):
    return swings(world_maker)


@pytest.fixture(scope="module")
def on_a(made):
    """The fit of a study most of whose drives are from unit-A."""
    return side_of(with_others(made, FEW), "k000000000001")


@pytest.fixture(scope="module")
def other_device(made, on_a, roller):
    """The same swings with most drives on unit-B, which reads 2 % short."""
    return Case.of(on_a, with_others(made, MOST), roller)


class Case:
    """A new fit compared with an old one."""

    @classmethod
    def of(cls, old, drives, roller, new=None):
        found = cls()
        found.old, found.new, found.drives, found.roller = old, new or side_of(drives, "k000000000002"), drives, roller
        found.findings = compared(old, found.new, drives)
        found.moves = published_moves(old.publisher, found.new.publisher, found.findings, roller)
        return found

    @property
    def text(self):
        usual = usual_moves(self.old.publisher, self.new.publisher, self.seen, Drives.of(self.drives), ["2026Q3"],
                            self.findings.references, self.roller)  # fmt: skip
        sections = [*published_lines(self.moves, self.findings), *usual_lines(usual, self.findings)]
        verdict = judge(self.old.fit, self.new.fit, self.findings.scored)
        answer = answer_of(self.moves, self.findings)
        return write_comparison("hill", self.new.fit, self.findings, verdict, CENTRES, answer=answer, sections=sections)

    @property
    def seen(self):
        return drives_of_old(self.old.fit, self.new.fit, self.drives, self.findings.references)

    def column(self, name):
        return self.moves.get_column(name).to_numpy()


def test_a_planted_change_of_device_is_the_whole_move(other_device):
    case = other_device
    (change,) = case.findings.references.changes
    assert (change.old, change.new, change.told_by) == ("unit-A", "unit-B", "old")
    lo, hi = change.edges90
    assert lo < -0.02 < hi
    assert hi - lo < 0.002
    np.testing.assert_allclose(case.column("moved_yd"), -0.02 * case.column("old_yd"), atol=0.1)
    np.testing.assert_allclose(case.column("reference_yd"), -0.02 * case.column("old_yd"), atol=0.1)
    assert np.abs(case.column("model_yd")).max() < 0.1
    assert (np.abs(case.column("model_yd")) < case.column("model_reach_yd")).all()
    assert (case.column("conditions_yd") == 0).all()
    parts = sum(case.column(name) for name in ("reference_yd", "conditions_yd", "model_yd"))
    np.testing.assert_allclose(parts, case.column("moved_yd"), atol=1e-9)


def test_the_text_of_a_planted_change_names_both_devices_and_every_band(other_device):
    text = other_device.text
    top = text.splitlines()[2]
    assert (
        "is adopted. Of what is published, efficient carry moves most at 100 mph: -4.4 yd, from 221.3 to 216.9" in top
    )
    assert top.endswith("The largest part is the change of reference device from unit-A to unit-B: -4.4 yd.")
    assert "**The reference device changed from unit-A to unit-B**, where most drives now come from." in text
    assert "Carry on unit-B against unit-A: -2.0 % (90 % interval -2.1 to -2.0 %)" in text
    by_itself = (
        "- By itself, the change of reference device moves efficient carry by -3.4 yd at 80 mph, -4.0 yd at 90 mph"
    )
    assert by_itself in text
    assert (
        "| club speed | old, as published, yd | old, on today's reference device, yd | new, yd | moved, yd | by the"
        in text
    )
    assert "| 80 mph | 170.3 | 166.9 | 166.9 | -3.4 | -3.4 | 0.0 (-2.6 to +2.6) |" in text
    assert "standard conditions and flight, yd" not in text
    assert "- Typical drives of 50 golfers: 0% moved by more than 2 yd" in text


def test_the_documents_example_is_this_text(other_device):
    page = (Path(__file__).parents[2] / "docs/research/comparison.md").read_text(encoding="utf-8")
    shown = page.split("```text\n")[1].split("```")[0].splitlines()
    assert len(shown) > 10
    said = iter(other_device.text.splitlines())
    # In this order; a line of three dots skips some.
    assert [line for line in shown if line != "..." and line not in said] == []


def test_without_a_change_of_reference_the_text_does_not_mention_one(made, on_a, roller):
    case = Case.of(on_a, with_others(made, FEW), roller)
    assert case.findings.references == References()
    np.testing.assert_allclose(case.column("moved_yd"), 0, atol=1e-9)
    assert "reference" not in case.text.split("## Scores")[0]
    assert "No published efficient carry moves by as much as 0.1 yd." in case.text
    assert "| club speed | old, yd | new, yd | moved, yd | by the model and golfers (90 % interval), yd |" in case.text
    longer = Case.of(on_a, made.with_columns(pl.col("carry_standard_yd", "carry_measured_yd") + 3.0), roller)
    assert "+3.1 yd, from" in longer.text or "+3.0 yd, from" in longer.text
    assert "That comes from the new model and its golfers." in longer.text


def test_a_planted_change_of_ball_is_the_whole_move(made, roller):
    old, new = (with_others(made, count, "ball", "range", 0.95) for count in (FEW, MOST))
    case = Case.of(side_of(old, "k000000000001"), new, roller)
    (change,) = case.findings.references.changes
    assert (change.column, change.old, change.new) == ("ball", "premium", "range")
    lo, hi = change.edges90
    assert lo < -0.05 < hi
    np.testing.assert_allclose(case.column("moved_yd"), -0.05 * case.column("old_yd"), atol=0.15)
    assert np.abs(case.column("model_yd")).max() < 0.15
    assert "Carry with range against premium: -5.0 %" in case.text
    assert "The largest part is the change of reference ball from premium to range" in case.text


def test_the_new_fits_term_tells_a_device_that_the_old_fit_never_saw(made, roller):
    case = Case.of(side_of(made, "k000000000001"), with_others(made, MOST), roller)
    assert "by the new model's term, as the old model has no term for unit-B." in case.text
    (change,) = case.findings.references.changes
    lo, hi = change.edges90
    assert lo < -0.02 < hi
    np.testing.assert_allclose(case.column("reference_yd"), -0.02 * case.column("old_yd"), atol=0.1)
    assert np.abs(case.column("model_yd")).max() < 0.1


def test_a_device_that_nobody_compares_gets_no_number(made, roller):
    # All drives of the new fit are from unit-B, all of the old one from unit-A.
    case = Case.of(side_of(made, "k000000000001"), with_others(made, SHOTS), roller)
    unknown = ["here_yd", "reference_yd", "model_yd", "model_reach_yd", "conditions_yd"]
    assert case.moves.select(unknown).null_count().row(0) == (3,) * 5
    np.testing.assert_allclose(case.column("moved_yd"), -0.02 * case.column("old_yd"), atol=0.1)
    text = case.text
    assert (
        "The old model has no term for unit-B and the new one has none for unit-A, so what this does to carry isn't"
        in text
    )
    assert "How much of it is the change of reference device isn't known." in text
    assert "so the moves can't be shared out." in text
    assert "By itself" not in text
    assert " % (90 % interval" not in text
    assert "| 80 mph | 170.3 | not known | 166.9 | -3.4 | not known | not known |" in text


def test_published_figures_are_those_of_the_benchmarks(on_a, roller):
    publisher, population = on_a.publisher, Population.from_typical(on_a.fit.typical, RULES.min_shots, RULES.deliveries)
    found = published_at(publisher, np.array([90.0, 140.0]), roller)
    best = efficient_at(publisher.model, publisher.refits, population, 90.0, 5.0, 5.0, roller)
    row = found.row(0, named=True)
    assert (row["carry_yd"], row["std_error_yd"], row["spin_rpm"]) == (best.carry_yd, best.std_error_yd, best.spin_rpm)
    assert row["launch_hi_deg"] == best.window.launch_hi_deg
    # Nobody swings at 140 mph.
    assert found.row(1) == (140.0, *[None] * (found.width - 1))


def test_benchmarks_of_the_old_rules_count(on_a, roller):
    # Fewer deliveries count as reachable, and a narrower tolerance makes a narrower window.
    stricter = replace(on_a.publisher, rules=replace(RULES, deliveries=0.5, tolerance_yd=3.0))
    at = np.array([90.0])
    strict, plain = (published_at(one, at, roller).row(0, named=True) for one in (stricter, on_a.publisher))
    assert strict["launch_hi_deg"] - strict["launch_lo_deg"] < plain["launch_hi_deg"] - plain["launch_lo_deg"]
    assert strict["carry_yd"] <= plain["carry_yd"]
    assert strict["std_error_yd"] != plain["std_error_yd"]


def test_the_rules_are_those_of_the_settings():
    settings = {
        "bands": {"centres": [90, 80], "half_width_mph": 4},
        "flags": {"min_shots": 7, "lost_yd": 10},
        "privacy": {"min_golfers": 3},
        "window_tolerance_yd": 6.0,
        "efficient": {"deliveries": 0.7, "strike": 0.75},
    }
    found = BenchmarkRules.of(settings)
    assert (found.bands.centres_mph, found.bands.half_width_mph) == ((80.0, 90.0), 4)
    assert (found.min_shots, found.min_golfers, found.tolerance_yd, found.deliveries) == (7, 3, 6.0, 0.7)


@pytest.mark.bench
def test_other_standard_conditions_are_a_part_of_their_own(made, on_a, roller):
    # The old fit's standard air was that of 80 kPa: its carry is that of thin air.
    drives = with_others(made, FEW)
    thin = replace(on_a.fit, air=StandardAir(pressure_hpa=800.0))
    seen = pl.concat(drives_of_old(thin, on_a.fit, drives, SAME).read())
    old = side_of(seen, "k000000000001")
    case = Case.of(replace(old, fit=replace(old.fit, air=thin.air)), drives, roller)
    assert case.column("moved_yd").max() < -4
    np.testing.assert_allclose(case.column("conditions_yd"), case.column("moved_yd"), atol=0.5)
    assert "by standard conditions and flight, yd" in case.text
    assert "The largest part is the change of standard conditions or of flight" in case.text


def test_readings_on_another_scale_move_figures_to_other_speeds(made, on_a, roller):
    # What reads 90 mph today read 88.2 mph when the old fit was made.
    drives = with_others(made, FEW)
    step = [float(np.log(90 / 88.2)), 0.0, 1.0, 0.0]
    devices = StudyDevices("unit-B", [DeviceReadings("unit-A", "same golfers", step, [[0.0] * 4] * 4, 1e6, "", None)])
    old, new = (replace(on_a, fit=replace(on_a.fit, readings=name)) for name in ("unit-A", "unit-B"))
    findings = compared(old, new, drives, devices)
    moves = published_moves(old.publisher, new.publisher, findings, roller)
    slower = published_at(on_a.publisher, np.array([88.2]), roller).row(0, named=True)
    row = moves.row(1, named=True)
    assert row["here_yd"] == pytest.approx(slower["carry_yd"])
    assert row["readings_yd"] == row["reference_yd"] == pytest.approx(slower["carry_yd"] - row["old_yd"])
    assert row["model_yd"] == pytest.approx(-row["readings_yd"])
    assert row["old_launch_lo_deg"] == pytest.approx(slower["launch_lo_deg"] + 1.0)
    text = "\n".join(published_lines(moves, findings))
    assert "- By itself, the change of device of readings moves efficient carry by -" in text


def test_usual_carry_is_compared_for_the_newest_common_quarter(on_a, other_device):
    case = other_device
    later = case.drives.with_columns(pl.lit("2026Q4").alias("quarter"))
    both = Drives.of(pl.concat([case.drives, later.head(600)]))
    found = usual_moves(on_a.publisher, case.new.publisher, both, both, ["2026Q2", "2026Q3"],
                        case.findings.references, case.roller)  # fmt: skip
    assert found.get_column("quarter").unique().to_list() == ["2026Q3"]
    row = found.row(1, named=True)
    assert row["old_yd"] - row["new_yd"] == pytest.approx(0.02 * row["old_yd"], abs=1.0)
    assert row["here_yd"] == pytest.approx(row["old_yd"] * case.findings.references.factor)
    assert row["moved_yd"] == row["new_yd"] - row["old_yd"]
    none = usual_moves(on_a.publisher, case.new.publisher, both, both, [], SAME, case.roller)
    assert usual_lines(none, case.findings) == []
    assert "old, on today's reference device, yd" in "\n".join(usual_lines(found, case.findings))


def row(**yards):
    names = ("old", "here", "new", "moved", "reference", "conditions", "model")
    return {f"{name}_yd": yards.get(name) for name in names}


def test_what_is_shown_adds_up(other_device):
    findings = replace(other_device.findings, conditions_differ=True)
    # 200.04 is shown as 200.0 and 195.85 as 195.9: -4.1 yd is to be shared out, though -4.19 yd moved.
    given = row(old=200.04, here=196.18, new=195.85, moved=-4.19, reference=-3.86, conditions=-0.24, model=-0.09)
    found = shown_moves(given, findings)
    assert (found["old"], found["new"], found["moved"]) == (2000, 1959, -41)
    assert found["reference_yd"] + found["conditions_yd"] + found["model_yd"] == -41
    assert found["here"] == 2000 + found["reference_yd"]
    assert all(abs(found[name] - 10 * given[name]) < 1 for name in ("reference_yd", "conditions_yd", "model_yd"))


def test_a_part_that_there_is_none_of_takes_no_tenth(other_device):
    findings = replace(other_device.findings, references=SAME)
    found = shown_moves(
        row(old=200.04, here=200.04, new=195.96, moved=-4.08, reference=0.0, conditions=0.0, model=-4.08), findings
    )
    assert found == {"old": 2000, "here": 2000, "new": 1960, "moved": -40, "model_yd": -40}


def test_bands_that_one_model_does_not_reach_have_no_move(other_device):
    gone = other_device.moves.with_columns(
        pl.lit(None, pl.Float64).alias(n) for n in ("old_yd", "here_yd", "moved_yd", "reference_yd", "model_yd")
    )
    assert answer_of(gone, other_device.findings) == "No band has an efficient carry by both models."
    assert "| 80 mph | none | not known | 166.9 | not known |" in "\n".join(
        published_lines(gone, other_device.findings)
    )
