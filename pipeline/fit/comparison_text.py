"""model/comparison.md: the new fit beside the kept one, in words and tables."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import polars as pl

from pipeline.fit.candidates import MIN_GOLFERS
from pipeline.fit.comparison import NO_MATTER_YD, PairedScore, Scored, Verdict
from pipeline.fit.findings import Findings
from pipeline.fit.model import CarryModel
from pipeline.fit.model_changes import MOVED_YD, ComparedFit
from pipeline.fit.references import ReadingsChange, ReferenceChange
from pipeline.flight.device_words import NAMES as READING_NAMES
from pipeline.flight.devices import READINGS
from pipeline.markdown import shown_text
from pipeline.shown import signed_text
from pipeline.texts.better import better_golfers

UNKNOWN = "Not known: what the change of reference does to carry isn't known, so the two fits' carry can't be compared."


def rule(golfers: float) -> str:
    """State the rule of adoption; `golfers` is the least share of the old fit's golfers."""
    many = "at least as many golfers" if golfers == 1 else f"at least {golfers:.0%} as many golfers"
    return (
        "The new model is adopted where its root mean square error is not above the old model's by more than one "
        f"standard error of the difference, or {NO_MATTER_YD:g} yd if that is more, and it rests on {many}. The "
        f"error is taken on golfers new to the old fit; where they are fewer than {MIN_GOLFERS}, on all golfers, each "
        "predicted by fits that never saw the golfer."
    )


def write_first(study: str, new: ComparedFit, lost_parent: str | None) -> str:
    """Write the text for a fit that there is no kept model for.

    Parameters
    ----------
    study : str
    new : ComparedFit
    lost_parent : str or None
        The id of the model that it was held against and that is no longer kept.
    """
    why = (
        "This is the study's first model, so there is nothing to compare it with. It is adopted."
        if lost_parent is None
        else f"The model it was compared with, {lost_parent}, is no longer kept. This one was adopted then."
    )
    return "\n".join([f"# Model {new.id} of the study {study}", "", why, "", *_fit_lines([("new", new)]), ""])


def write_comparison(
    study: str,
    new: ComparedFit,
    findings: Findings,
    verdict: Verdict | None,
    centres: Sequence[float],
    golfers: float = 1.0,
    then: str | None = None,
    *,
    answer: str = "",
    sections: Sequence[str] = (),
) -> str:
    """Write the text for a fit that is held against a kept model.

    Parameters
    ----------
    study : str
    new : ComparedFit
    findings : Findings
    verdict : Verdict or None
        None where two kept models are compared and there is nothing to decide.
    centres : sequence of float
        Of the bands, mph.
    golfers : float
        The least share of the old fit's golfers that the rule of adoption asks for.
    then : str or None
        What follows from the verdict; unless given, that of the newest fit's.
    answer : str
        A sentence that follows the first, such as what moved most (`pipeline.benchmark.published_text`).
    sections : sequence of str
        Lines about what benchmarks and golfers make of the two fits, which later stages know.
    """
    old = findings.old
    lines = [
        f"# Model {new.id} of the study {study}, compared with {old.id}",
        "",
        " ".join(part for part in (_answer(new, old, verdict, then), answer) if part),
        "",
        *([] if verdict is None else [*_verdict_lines(new, old, verdict, then), "", f"The rule: {rule(golfers)}", ""]),
        "## The two fits",
        *_fit_lines([("old", old), ("new", new)]),
        *_change_lines(new, findings),
        "",
        *sections,
        "## Scores",
        *_score_lines(findings.scored),
        "",
        f"## Where expected carry moved by more than {MOVED_YD:g} yd",
        *_move_lines(findings, new.model, centres),
        "",
        "## Coefficients",
        *_term_lines(new, old, findings.terms),
        "",
    ]
    return "\n".join(lines)


def _answer(new: ComparedFit, old: ComparedFit, verdict: Verdict | None, then: str | None) -> str:
    """Say first what came out; nothing where nothing was decided."""
    if verdict is None:
        return ""
    if then is not None:
        return f"By the rule, the new model {new.id} would {'' if verdict.adopt else 'not '}be adopted."
    if verdict.adopt:
        return f"The new model {new.id} is adopted."
    return f"The new model {new.id} is not adopted: {old.id} stays."


def _verdict_lines(new: ComparedFit, old: ComparedFit, verdict: Verdict, then: str | None) -> list[str]:
    reasons = "; ".join(verdict.reasons)
    if verdict.adopt:
        return [
            "## Verdict",
            f"**Adopt the new model {new.id}**: {reasons}.",
            "",
            then or f"It is kept as adopted. To look at the study by the old one: `{command(old.id)}`.",
        ]
    return [
        "## Verdict",
        f"**Keep the old model {old.id}**: {reasons}.",
        "",
        then or f"The new one is kept as refused. To adopt it all the same: `yardband models STUDY adopt {new.id}`.",
    ]


def command(kept: str) -> str:
    """Give the command that looks at a study by a kept model, in a folder of its own."""
    return f"snakemake --cores 2 --config study=STUDY model={kept}"


def _fit_lines(fits: Sequence[tuple[str, ComparedFit]]) -> list[str]:
    return [
        "| fit | id | model | drives | golfers | quarters |",
        "|---|---|---|---|---|---|",
        *(
            f"| {name} | {fit.id} | {fit.model.surface.name}, over {fit.model.surface.speed} speed | {fit.drives:,} "
            f"| {fit.golfers} | {', '.join(fit.quarters)} |"
            for name, fit in fits
        ),
    ]


def _change_lines(new: ComparedFit, findings: Findings) -> list[str]:
    old, lines = findings.old, [""]
    lines += [f"- {_reference_words(change)}" for change in findings.references.changes]
    if findings.references.readings is not None:
        lines.append(f"- {_readings_words(findings.references.readings)}")
    if old.air != new.air:
        lines.append(f"- Standard conditions changed from {old.air.text} to {new.air.text}.")
    if old.calibration.ball != new.calibration.ball:
        balls = [
            f"{ball.coefficients} (drag {ball.drag:.3f}, lift {ball.lift:.3f})"
            for ball in (old.calibration.ball, new.calibration.ball)
        ]
        lines.append(f"- Carry is moved to standard conditions by the flight of {balls[1]}, before by {balls[0]}.")
    if findings.without_term:
        lines.append(
            f"- The old model has no term for {', '.join(findings.without_term)}: it takes them for its own reference, "
            "so what they over-read or under-read counts as its error."
        )
    lines += [f"- {sentence}" for sentence in findings.settings.sentences]
    lines += [f"- {name}: version {was}, now {now}" for name, (was, now) in sorted(findings.versions.items())]
    return lines if len(lines) > 1 else []


def _reference_words(change: ReferenceChange) -> str:
    """Say of a device or ball from which to which, by how much, and who says so."""
    was, now = shown_text(change.old), shown_text(change.new)
    most = "where most drives now come from" if change.column == "device" else "which most drives now have"
    said = f"**The reference {change.column} changed from {was} to {now}**, {most}."
    if change.told_by == "device":
        return f"{said} {now} was hit on the new reference device alone, so its part is in that device's figure."
    if change.told_by == "nobody":
        return (
            f"{said} The old model has no term for {now} and the new one has none for {was}, so what this does to "
            "carry isn't known."
        )
    lo, hi = (100 * edge for edge in change.edges90)
    sure = f" (90 % interval {lo:+.1f} to {hi:+.1f} %)" if np.isfinite(lo) else ""
    by = "the old model's own term"
    if change.told_by == "new":
        by = f"the new model's term, as the old model has no term for {now}"
    golfers = f" It rests on {change.golfers} golfers." if change.golfers else ""
    on = "on" if change.column == "device" else "with"
    return f"{said} Carry {on} {now} against {was}: {100 * change.share:+.1f} %{sure}, by {by}.{golfers}"


def _readings_words(change: ReadingsChange) -> str:
    """Say the same of the device that readings are compared with."""
    was, now = shown_text(change.old), shown_text(change.new)
    said = f"**Readings are now compared with those of {now}**, before with those of {was}."
    if not change.is_known:
        return f"{said} The two can't be compared today, so what this does to speeds, launch and spin isn't known."
    if not change.moves:
        return f"{said} The two read alike as far as the study shows, so no figure moves by this."
    parts = [
        f"{READING_NAMES[name]} {step:+.1f} deg" if name == "launch_deg" else f"{READING_NAMES[name]} {percent:+.1f} %"
        for name, step, percent in zip(READINGS, change.step, 100 * np.expm1(change.step), strict=True)
        if step != 0
    ]
    return f"{said} What {was} reads is now changed by: {', '.join(parts)}."


def _score_lines(scored: Scored) -> list[str]:
    count = f"{scored.new_golfers} golfer{'s are' if scored.new_golfers > 1 else ' is'} new to the old fit"
    if scored.new_golfers == 0:
        told = "No golfers are new to the old fit, so there is no score on new golfers."
    elif scored.on_new is None:
        told = f"Only {count}; a score needs {MIN_GOLFERS}, so there is none on new golfers."
    else:
        told = f"{count}; the verdict goes by their score."
    rows = [("new golfers", scored.on_new), ("all golfers", scored.on_all)]
    part = "tenth" if scored.folds == 10 else "fold"
    how = (
        "For golfers it has seen, it is fitted again, in its own form, to the drives of its golfers and quarters "
        f"without each {part} of the golfers, and predicts that {part}."
        if scored.repeated
        else "It could not be fitted again without the golfers it has seen, so its plain predictions of them count, "
        "which flatters it."
    )
    return [
        told,
        "",
        "| scored on | golfers | drives | old, rms error, yd | new, rms error, yd | new less old, yd | its std. error "
        "| old, mean error | new, mean error |",
        "|---|---|---|---|---|---|---|---|---|",
        *(_score_row(name, score) for name, score in rows if score is not None),
        "",
        "Errors are predicted less measured carry. The new model is fitted again "
        f"without each {part} of the golfers, and predicts that {part}. The old model predicts golfers new to "
        f"it as it is. {how} "
        "Each model is compared with carry moved to standard conditions by its own calibration of flight.",
    ]


def _score_row(name: str, score: PairedScore) -> str:
    return (
        f"| {name} | {score.golfers} | {score.drives:,} | {score.old_rmse_yd:.2f} | {score.new_rmse_yd:.2f} "
        f"| {score.difference_yd:+.2f} | {score.std_error_yd:.2f} | {score.old_bias_yd:+.2f} "
        f"| {score.new_bias_yd:+.2f} |"
    )


def _move_lines(findings: Findings, new: CarryModel, centres: Sequence[float]) -> list[str]:
    return [
        *(_moved_far(findings) if findings.references.is_known else [UNKNOWN]),
        "",
        *_speed_table(findings, centres),
        "",
        "The usual drive has the usual launch, spin and speed ratio of the new fit's golfers; the efficient one the "
        f"launch and spin of the new benchmarks, struck as {_strikers(findings.old.model, new)} do. So these are two "
        "models' answers for the same drive, and not the figures that were published.",
    ]


def _moved_far(findings: Findings) -> list[str]:
    """Say whose carry moved by more than `MOVED_YD`."""
    moved = np.abs(findings.typical_yd)
    changed = findings.references.names
    lines = [f"All carry here is on today's {changed}, so the change isn't in these moves.", ""] if changed else []
    lines.append(
        f"- Typical drives of {len(moved)} golfers: {np.mean(moved > MOVED_YD):.0%} moved by more than {MOVED_YD:g} "
        f"yd; the largest move is {signed_text(findings.typical_yd[np.argmax(moved)], 1)} yd."
    )
    for drive in ("usual", "efficient"):
        rows = findings.at_speeds.filter(pl.col("drive") == drive)
        far = rows.filter(pl.col("moved_yd").abs() > MOVED_YD).get_column("speed_mph").to_list()
        where = f"at {speed_ranges(far, rows.get_column('speed_mph').to_list())} mph" if far else "nowhere"
        lines.append(f"- The {drive} drive, at the {rows.height} club speeds of the benchmarks: {where}.")
    return lines


def _speed_table(findings: Findings, centres: Sequence[float]) -> list[str]:
    """Show carry of the two drives at the bands' centers, on whose references it is."""
    changed = findings.references.names
    old = f"old, on its own {changed}, yd | old, on today's, yd" if changed else "old, yd"
    shown = findings.at_speeds.filter(pl.col("speed_mph").is_in(list(centres))).sort("speed_mph", "drive")
    return [
        f"| club speed | drive | launch | backspin | {old} | new, yd | moved, yd |",
        f"|---|---|---|---|---|---|---|{'---|' if changed else ''}",
        *(_move_row(row, own=bool(changed)) for row in shown.iter_rows(named=True)),
    ]


def _strikers(old: CarryModel, new: CarryModel) -> str:
    """Name the golfers whose strike is efficient in either fit."""
    then, now = (better_golfers(model.usual.strike) for model in (old, new))
    if then == now:
        return f"the {now} of each fit's golfers"
    return f"the {then} of the old fit's golfers and the {now} of the new fit's"


def _move_row(row: Mapping[str, Any], *, own: bool) -> str:
    moved = "not known"
    if row["moved_yd"] is not None:
        moved = signed_text(row["moved_yd"], 1)
        moved += ("" if row["reached"] else " (beyond the old fit's golfers)") + (
            f" **over {MOVED_YD:g}**" if abs(row["moved_yd"]) > MOVED_YD else ""
        )
    here = "not known" if row["old_yd"] is None else f"{row['old_yd']:.1f}"
    before = f"{row['old_own_yd']:.1f} | {here}" if own else here
    return (
        f"| {row['speed_mph']:g} mph | {row['drive']} | {row['launch_deg']:.1f} deg | {row['spin_rpm']:.0f} rpm "
        f"| {before} | {row['new_yd']:.1f} | {moved} |"
    )


def speed_ranges(some: Sequence[float], of: Sequence[float]) -> str:
    """Shorten speeds that follow each other in the ordered list `of`, such as `70 to 74, 112`."""
    place = {speed: index for index, speed in enumerate(of)}
    runs: list[list[float]] = []
    for speed in some:
        if runs and place[speed] == place[runs[-1][-1]] + 1:
            runs[-1].append(speed)
        else:
            runs.append([speed])
    return ", ".join(f"{run[0]:g}" if len(run) == 1 else f"{run[0]:g} to {run[-1]:g}" for run in runs)


def _term_lines(new: ComparedFit, old: ComparedFit, terms: pl.DataFrame | None) -> list[str]:
    own = [
        f"The new model's own terms ({new.model.surface.name}), with its own centers and scales (see card.md):",
        "",
        "| term | new (90 % interval) |",
        "|---|---|",
        *(
            f"| {_term_words(row['term'])} | {_estimate(row['estimate'], row['lo90'], row['hi90'])} |"
            for row in new.terms.iter_rows(named=True)
        ),
    ]
    if terms is None:
        return [f"The old model's terms ({old.model.surface.name}) can't be fitted to the new drives.", "", *own]
    return [
        f"The old model's terms ({old.model.surface.name}), as kept and as fitted to the new drives with the same "
        "centers and scales:",
        "",
        "| term | old (90 % interval) | fitted to the new drives (90 % interval) | intervals apart |",
        "|---|---|---|---|",
        *(
            f"| {_term_words(row['term'])} | {_estimate(row['old'], row['old_lo90'], row['old_hi90'])} "
            f"| {_estimate(row['new'], row['new_lo90'], row['new_hi90'])} | {'yes' if row['apart'] else ''} |"
            for row in terms.iter_rows(named=True)
        ),
        "",
        *own,
    ]


def _term_words(term: str) -> str:
    """Write a term's name; what follows device: or ball: comes from the logs."""
    kind, colon, level = term.partition(":")
    return f"{kind}:{shown_text(level)}" if colon else term


def _estimate(value: float | None, lo: float | None, hi: float | None) -> str:
    return "not in the drives" if value is None else f"{value:.4g} ({lo:.4g} to {hi:.4g})"
