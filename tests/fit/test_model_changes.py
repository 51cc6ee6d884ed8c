from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to
from markdown_it import MarkdownIt

from pipeline.configuration.study import StandardAir
from pipeline.drives import typical_drives
from pipeline.fit.comparison import Scored, judge, paired_score
from pipeline.fit.comparison_text import speed_ranges, write_comparison, write_first
from pipeline.fit.findings import Findings
from pipeline.fit.model import Delivery
from pipeline.fit.model_changes import (
    ComparedFit,
    conditions_terms,
    levels_without_term,
    refitted_terms,
    speed_moves,
    typical_moves,
    under_conditions,
)
from pipeline.fit.references import SAME, ReadingsChange, ReferenceChange, References, find_references
from pipeline.fit.setting_changes import setting_changes
from pipeline.flight.calibrate import Calibration

QUADRATIC, SPLINES = (candidate_named(name) for name in ("quadratic", "splines"))
CLUB_LINE = candidate_named("line", "club")


def efficient_at(*speeds_mph):
    n = len(speeds_mph)
    return Delivery(np.array(speeds_mph), np.full(n, np.nan), np.full(n, 14.0), np.full(n, 2700.0))


EFFICIENT = efficient_at(80.0, 81.0, 95.0)


def fit(candidate, drives, name="k000000000001"):
    found = fit_to(candidate, drives)
    half = 1.645 * found.fit.std_errors
    estimate = found.fit.coefficients
    terms = pl.DataFrame(
        {"term": list(found.labels), "estimate": estimate, "lo90": estimate - half, "hi90": estimate + half}
    )
    calibration = Calibration("smits-smith-1994", 1.0, 1.0, None, None, [], 0, 0, None, None, "")
    return ComparedFit(
        name, found.model, terms, typical_drives(drives, ["golfer"]), ("2026Q3",),
        drives.get_column("golfer").n_unique(), drives.height, StandardAir(), calibration, None,
    )  # fmt: skip


def longer(drives, share, device=None):
    return drives.with_columns(
        pl.col("carry_standard_yd") * (1 + share * (pl.lit(True) if device is None else pl.col("device") == device))
    )


@pytest.fixture(scope="module")
def old(world):
    return fit(QUADRATIC, world.drives)


def test_the_same_drives_give_the_same_terms(world, old):
    terms = refitted_terms(old, world.drives)
    assert terms.get_column("term").to_list() == old.terms.get_column("term").to_list()
    np.testing.assert_allclose(terms.get_column("new"), terms.get_column("old"), rtol=1e-8)
    np.testing.assert_allclose(terms.get_column("new_lo90"), terms.get_column("old_lo90"), rtol=1e-3, atol=1e-3)
    assert not terms.get_column("apart").any()


def test_a_planted_change_moves_its_term_alone(world, old):
    terms = refitted_terms(old, longer(world.drives, 0.02, "unit-B"))
    moved = terms.filter("apart")
    assert moved.get_column("term").to_list() == ["device:unit-B"]
    assert (moved.get_column("new") - moved.get_column("old")).item() == pytest.approx(0.0206, abs=5e-4)


def test_a_device_that_is_gone_has_no_new_estimate(world, old):
    terms = refitted_terms(old, world.drives.filter(pl.col("device") == "unit-A"))
    gone = terms.filter(pl.col("new").is_null())
    assert gone.get_column("term").to_list() == ["device:unit-B"]
    assert refitted_terms(old, world.drives.head(3)) is None


def test_typical_drives_move_by_what_was_planted(world, old):
    new = fit(QUADRATIC, longer(world.drives, 0.015))
    moves = typical_moves(old.model, new.model, new.typical)
    assert moves.shape == (80,)
    np.testing.assert_allclose(moves, 0.015 * old.model.expected(Delivery.of(old.typical)), atol=1e-6)


def test_a_golfer_without_ball_speed_is_taken_at_the_usual_ratio(world, old):
    unknown = old.typical.with_columns(pl.lit(None, pl.Float64).alias("speed_ratio"))
    new = fit(QUADRATIC, longer(world.drives, 0.015))
    usual = 0.015 * old.model.expected(Delivery.of(unknown))
    np.testing.assert_allclose(typical_moves(old.model, new.model, unknown), usual, atol=1e-6)


def test_another_reference_device_is_no_move(world, old):
    # Most drives now come from the other device, so the scale of carry changes, but not what a drive does.
    b = pl.col("device") == "unit-B"
    new = fit(QUADRATIC, pl.concat([world.drives, world.drives.filter(b), world.drives.filter(b)]))
    assert new.model.offsets.reference["device"] == "unit-B"
    references = find_references(old.model, new.model)
    assert np.abs(typical_moves(old.model, new.model, new.typical, references)).max() < 0.5
    moves = speed_moves(old, new.model, EFFICIENT, references)
    on_own, here = (moves.get_column(name).to_numpy() for name in ("old_own_yd", "old_yd"))
    np.testing.assert_allclose(here / on_own, 1.03, atol=0.003)
    assert moves.get_column("moved_yd").abs().max() < 0.5


def test_an_unknown_change_of_reference_gives_no_moves(world, old):
    new = fit(QUADRATIC, world.drives.with_columns(pl.lit("range").alias("ball")))
    references = find_references(old.model, new.model)
    assert not references.is_known
    assert np.isnan(typical_moves(old.model, new.model, new.typical, references)).all()
    moves = speed_moves(old, new.model, EFFICIENT, references)
    assert moves.select("old_yd", "moved_yd").null_count().row(0) == (6, 6)
    assert moves.select("old_own_yd", "new_yd").null_count().row(0) == (0, 0)


def test_other_conditions_are_told_in_the_old_models_terms(world, old):
    # Carry at the new conditions is 1.5 % and 2 yd longer, which a quadratic can say.
    longer_now = pl.col("carry_standard_yd") * 1.015 + 2.0
    found = conditions_terms(old, world.drives.with_columns(longer_now.alias("carry_now_yd")))
    drive = Delivery(
        np.array([80.0, 100.0]), np.array([1.46, 1.46]), np.array([14.0, 12.0]), np.array([2700.0, 2500.0])
    )
    moved = under_conditions(old.model, found).expected(drive) - old.model.expected(drive)
    np.testing.assert_allclose(moved, 0.015 * old.model.expected(drive) + 2.0, atol=0.05)
    assert under_conditions(old.model, None) is None


def test_the_same_conditions_add_nothing(world, old):
    same = world.drives.with_columns(pl.col("carry_standard_yd").alias("carry_now_yd"))
    np.testing.assert_allclose(conditions_terms(old, same), 0, atol=1e-9)
    assert conditions_terms(old, same.head(3)) is None


def test_moves_by_club_speed_are_the_models_own_figures(world, old):
    new = fit(SPLINES, longer(world.drives, 0.015))
    moves = speed_moves(old, new.model, efficient_at(80.0, 81.0, 95.0, 130.0))
    assert moves.get_column("drive").to_list() == ["usual"] * 4 + ["efficient"] * 4
    assert moves.get_column("reached").to_list() == [True, True, True, False] * 2
    best = moves.filter(speed_mph=95.0, drive="efficient").row(0, named=True)
    for model, name in ((old.model, "old_yd"), (new.model, "new_yd")):
        on_grid = model.better_on_grid(95.0, np.array([14.0]), np.array([2700.0])).item()
        assert best[name] == pytest.approx(on_grid)
    assert best["moved_yd"] == pytest.approx(best["new_yd"] - best["old_yd"])
    usual = moves.filter(speed_mph=95.0, drive="usual").row(0, named=True)
    line = new.model.usual
    expected = new.model.carry(95 * line.speed_ratio(95.0), line.launch(95.0), line.spin(95.0))
    assert usual["new_yd"] == pytest.approx(float(expected))
    assert usual["moved_yd"] == pytest.approx(3, abs=0.8)


def test_a_model_over_club_speed_compares_with_one_over_ball_speed(world, old):
    new = fit(CLUB_LINE, world.drives)
    assert new.model.surface.speed == "club"
    moves = speed_moves(old, new.model, EFFICIENT)
    assert moves.null_count().sum_horizontal().item() == 0
    assert np.isfinite(moves.get_column("moved_yd").to_numpy()).all()
    assert moves.filter(speed_mph=95.0, drive="efficient").get_column("new_yd").item() == pytest.approx(
        new.model.better_on_grid(95.0, np.array([14.0]), np.array([2700.0])).item()
    )


def test_where_no_ball_speed_is_known_the_old_models_usual_ratio_stands_in(world, old):
    new = fit(CLUB_LINE, world.drives.with_columns(pl.lit(None, pl.Float64).alias("ball_speed_mph")))
    assert new.model.usual.speed_ratio is None
    moves = typical_moves(old.model, new.model, new.typical)
    assert np.abs(moves).max() < 40
    club, launch, spin = (new.typical.get_column(c).to_numpy() for c in ("club_speed_mph", "launch_deg", "spin_rpm"))
    before = old.model.carry(club * old.model.usual.speed_ratio(club), launch, spin)
    np.testing.assert_allclose(moves, new.model.carry(club, launch, spin) - before)


def test_levels_without_a_term_are_listed_with_their_drives(world, old):
    drives = world.drives.with_columns(
        pl.when(pl.int_range(pl.len()) < 40).then(pl.lit("unit-C")).otherwise("device").alias("device"),
        pl.when(pl.int_range(pl.len()) < 7).then(None).otherwise("ball").alias("ball"),
    )
    assert levels_without_term(old.model, drives) == [("device", "unit-C", 40), ("ball", "unstated", 7)]
    assert levels_without_term(old.model, world.drives) == []


def test_speeds_in_a_row_are_told_as_a_range():
    assert speed_ranges([70.0, 71.0, 72.0, 75.0, 80.0, 82.5], [70.0, 71.0, 72.0, 73.0, 75.0, 80.0, 82.5]) == (
        "70 to 72, 75 to 82.5"
    )
    assert speed_ranges([71.0], [70.0, 71.0]) == "71"


def findings_of(old, new, drives, difference=0.0, new_golfers=0, references=SAME):
    table = pl.DataFrame(
        {"golfer": [f"g{i % 8}" for i in range(16)], "old_yd": [3.0, -3.0] * 8, "new_yd": [3.0, -3.0] * 8}
    )
    score = replace(paired_score(table), difference_yd=difference, std_error_yd=0.2)
    return Findings(
        old=old,
        scored=Scored(new_golfers, score if new_golfers >= 6 else None, score, True),
        terms=refitted_terms(old, drives),
        at_speeds=speed_moves(old, new.model, EFFICIENT, references),
        typical_yd=typical_moves(old.model, new.model, new.typical, references),
        references=references,
        conditions_differ=False,
        conditions=None,
        without_term=(),
        versions={},
    )


def test_the_text_tells_what_moved_and_keeps_the_old_model(world, old):
    drives = world.drives.with_columns(pl.col("carry_standard_yd") + 3)
    new = fit(QUADRATIC, drives, "k000000000002")
    findings = findings_of(old, new, drives, difference=0.5)
    text = write_comparison("hill", new, findings, judge(old, new, findings.scored), [80.0, 95.0], answer="So it is.")
    assert "The new model k000000000002 is not adopted: k000000000001 stays. So it is.\n" in text
    assert "**Keep the old model k000000000001**: on all golfers, each held out, the new model's rms error" in text
    assert "`yardband models STUDY adopt k000000000002`" in text
    assert "reference device" not in text
    assert "reference ball" not in text
    assert "No golfers are new to the old fit" in text
    assert "Typical drives of 80 golfers: 100% moved by more than 2 yd; the largest move is +3.0 yd." in text
    assert "The usual drive, at the 3 club speeds of the benchmarks: at 80 to 95 mph." in text
    assert text.count("+3.0 **over 2**") == 4
    intercept = next(line for line in text.splitlines() if line.startswith("| intercept |"))
    assert intercept.endswith("| yes |")


def test_the_text_adopts_and_tells_of_new_golfers(world, old):
    findings = replace(
        findings_of(old, old, world.drives, new_golfers=8),
        settings=setting_changes({"folds": 10}, {"folds": 5}),
        without_term=("device unit-C (40 drives)",),
        versions={"numpy": ("2.2.0", "2.4.0")},
    )
    text = write_comparison("hill", old, findings, judge(old, old, findings.scored), [80.0])
    assert "\nThe new model k000000000001 is adopted.\n" in text
    assert "**Adopt the new model" in text
    assert "`snakemake --cores 2 --config study=STUDY model=k000000000001`" in text
    assert "8 golfers are new to the old fit; the verdict goes by their score." in text
    assert "The efficient drive, at the 3 club speeds of the benchmarks: nowhere." in text
    assert "The old model has no term for device unit-C (40 drives)" in text
    assert "- Settings differ: folds was 10, is 5.\n" in text
    assert "numpy: version 2.2.0, now 2.4.0" in text


def test_the_text_names_whose_strike_is_efficient_and_the_folds(world, old):
    model = replace(old.model, usual=replace(old.model.usual, strike=0.9))
    new = replace(old, model=model)
    findings = findings_of(old, new, world.drives)
    verdict = judge(old, new, findings.scored)
    text = write_comparison("hill", new, findings, verdict, [80.0])
    assert "struck as the better quarter of the old fit's golfers and the best tenth of the new fit's do." in text
    assert "without each tenth of the golfers, and predicts that tenth. The old model" in text
    same = replace(findings, old=new, scored=replace(findings.scored, folds=5))
    text = write_comparison("hill", new, same, verdict, [80.0])
    assert "struck as the best tenth of each fit's golfers do." in text
    assert text.count("without each fold of the golfers, and predicts that fold.") == 2


def test_two_kept_models_are_compared_without_a_verdict(world, old):
    text = write_comparison("hill", old, findings_of(old, old, world.drives), None, [80.0], answer="Nothing moves.")
    assert text.startswith(
        "# Model k000000000001 of the study hill, compared with k000000000001\n\nNothing moves.\n\n## The two"
    )
    assert "Verdict" not in text


def change(told_by, share=-0.02, std_error=0.002, golfers=31, column="device"):
    return ReferenceChange(column, "unit-A", "unit|B", told_by, share, std_error, 30.0, golfers)


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (change("old"), "**The reference device changed from unit-A to unit/B**, where most drives now come from. "
         "Carry on unit/B against unit-A: -2.0 % (90 % interval -2.3 to -1.7 %), by the old model's own term. It rests "
         "on 31 golfers."),
        (change("new", 0.013, np.nan, 0, "ball"), "**The reference ball changed from unit-A to unit/B**, which most "
         "drives now have. Carry with unit/B against unit-A: +1.3 %, by the new model's term, as the old model has no "
         "term for unit/B."),
        (change("device", column="ball"), "**The reference ball changed from unit-A to unit/B**, which most drives now "
         "have. unit/B was hit on the new reference device alone, so its part is in that device's figure."),
        (change("nobody", np.nan, np.nan), "The old model has no term for unit/B and the new one has none for unit-A, "
         "so what this does to carry isn't known."),
    ],
)  # fmt: skip
def test_a_change_of_reference_is_told(world, old, found, told):
    findings = findings_of(old, old, world.drives, references=References((found,)))
    text = write_comparison("hill", old, findings, judge(old, old, findings.scored), [80.0])
    assert told.replace("unit/B", "unit&#124;B") in text  # its name holds a bar
    known = found.told_by != "nobody"
    column = found.column
    assert f"| old, on its own reference {column}, yd | old, on today's, yd | new, yd |" in text
    assert (f"All carry here is on today's reference {column}, so the change isn't in these moves." in text) is known
    assert ("the two fits' carry can't be compared" in text) is not known
    assert ("| not known |" in text) is not known
    assert "nan" not in text


@pytest.mark.parametrize(
    ("step", "told"),
    [
        ([np.log(1.01), 0.0, -0.4, 0.0], "What unit-A reads is now changed by: club speed +1.0 %, launch -0.4 deg."),
        ([0.0] * 4, "The two read alike as far as the study shows, so no figure moves by this."),
        ([np.nan] * 4, "can't be compared today, so what this does to speeds, launch and spin isn't known."),
    ],
)
def test_a_change_of_readings_is_told(world, old, step, told):
    references = References(readings=ReadingsChange("unit-A", "unit-B", np.array(step)))
    findings = findings_of(old, old, world.drives, references=references)
    text = write_comparison("hill", old, findings, judge(old, old, findings.scored), [80.0])
    assert "**Readings are now compared with those of unit-B**, before with those of unit-A." in text
    assert told in text
    assert "nan" not in text


def test_names_from_logs_are_no_markup_in_the_comparison(world, old):
    references = References(readings=ReadingsChange("<script>x</script>", "*a|b*", np.zeros(4)))
    findings = findings_of(old, old, world.drives, references=references)
    terms = findings.terms.with_columns(term=pl.lit("device:<b>`x`|"))
    text = write_comparison("hill", old, replace(findings, terms=terms), None, [80.0])
    page = MarkdownIt("commonmark", {"html": True}).enable("table").render(text)
    assert "compared with those of *a|b*</strong>, before with those of &lt;script&gt;x&lt;/script&gt;." in page
    assert "<td>device:&lt;b&gt;`x`|</td>" in page
    assert not [tag for tag in ("<script", "<b>", "<em>") if tag in page]


@pytest.mark.parametrize(("count", "told"), [(1, "Only 1 golfer is new"), (5, "Only 5 golfers are new")])
def test_too_few_new_golfers_are_told(world, old, count, told):
    findings = findings_of(old, old, world.drives, new_golfers=count)
    assert told in write_comparison("hill", old, findings, judge(old, old, findings.scored), [80.0])


def test_the_first_model_says_so(old):
    assert "This is the study's first model" in write_first("hill", old, None)
    assert "k00000000000f, is no longer kept" in write_first("hill", old, "k00000000000f")
