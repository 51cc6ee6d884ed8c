"""What moved of the figures that two models publish, in words and tables of comparison.md."""

from collections.abc import Iterable, Mapping
from typing import Any

import polars as pl

from pipeline.fit.findings import Findings
from pipeline.fit.references import References
from pipeline.markdown import shown_text
from pipeline.shown import adding_up, signed_text, whole

PARTS = ("reference_yd", "conditions_yd", "model_yd")


def tenths(value: float | None) -> int | None:
    """Give yards as they are shown, in tenths."""
    return None if value is None else whole(10 * value)


def parts_of(findings: Findings) -> list[str]:
    """List the parts of a move that there are, of `PARTS`: what didn't change has none."""
    there = {"reference_yd": bool(findings.references.names), "conditions_yd": findings.conditions_differ}
    return [name for name in PARTS if there.get(name, True)]


def shown_moves(row: Mapping[str, Any], findings: Findings) -> dict[str, int | None]:
    """Round a row of `published_moves` so that what is shown adds up, in tenths of a yard.

    Returns
    -------
    dict
        old, here, new, moved and the parts that there are. moved is the difference of the shown figures, and the parts
        add up to it; here is the shown old figure and its move by the references.
    """
    old, new = tenths(row["old_yd"]), tenths(row["new_yd"])
    moved = None if old is None or new is None else new - old
    names = parts_of(findings)
    values = [row[name] for name in names]
    known = moved is not None and None not in values
    parts = (
        adding_up([10 * value for value in values], moved)
        if known
        else [None if moved is None else tenths(v) for v in values]
    )
    found = dict(zip(names, parts, strict=True))
    here = tenths(row["here_yd"])
    if known and old is not None:
        here = old + (found.get("reference_yd") or 0)
    return {"old": old, "here": here, "new": new, "moved": moved, **found}


def answer_of(moves: pl.DataFrame, findings: Findings) -> str:
    """Say in a sentence or two what published efficient carry moved most, and why.

    Parameters
    ----------
    moves : DataFrame
        From `published_moves`.
    findings : Findings
    """
    rows = [(row["speed_mph"], shown_moves(row, findings)) for row in moves.iter_rows(named=True)]
    known = [(speed, shown) for speed, shown in rows if shown["moved"] is not None]
    if not known:
        return "No band has an efficient carry by both models."
    speed, shown = max(known, key=lambda one: abs(one[1]["moved"] or 0))
    if not shown["moved"]:
        return "No published efficient carry moves by as much as 0.1 yd."
    said = (
        f"Of what is published, efficient carry moves most at {speed:g} mph: {_signed(shown['moved'])} yd, from "
        f"{_shown_text(shown['old'])} to {_shown_text(shown['new'])} yd."
    )
    return f"{said} {_why(shown, findings)}"


def _why(shown: Mapping[str, int | None], findings: Findings) -> str:
    """Name the largest part of a move."""
    if not findings.references.is_known:
        return f"How much of it is the change of {findings.references.names} isn't known."
    parts = parts_of(findings)
    if len(parts) == 1:
        return "That comes from the new model and its golfers."
    part = max(parts, key=lambda name: abs(shown[name] or 0))
    what = {
        "reference_yd": f"the change of {_from_to(findings.references)}",
        "conditions_yd": "the change of standard conditions or of flight",
        "model_yd": "the new model and its golfers",
    }[part]
    return f"The largest part is {what}: {_signed(shown[part])} yd."


def _from_to(references: References) -> str:
    """Name each change of reference, such as `reference device from unit-A to unit-B`."""
    said = [f"reference {one.column} from {shown_text(one.old)} to {shown_text(one.new)}" for one in references.changes]
    if references.readings is not None and "readings" in references.names:
        was, now = shown_text(references.readings.old), shown_text(references.readings.new)
        said.append(f"device of readings from {was} to {now}")
    return " and ".join(said)


def published_lines(moves: pl.DataFrame, findings: Findings) -> list[str]:
    """Write the part about efficient carry and windows.

    Parameters
    ----------
    moves : DataFrame
        From `published_moves`.
    findings : Findings

    Returns
    -------
    list of str
        Lines of markdown.
    """
    return [
        "## Published figures",
        "Efficient carry at the bands' centers: old figures are those of the old model's own benchmarks.",
        "",
        *_by_itself(moves, findings),
        *_carry_table(moves, findings),
        "",
        *_notes(findings),
        "Windows, in today's readings:",
        "",
        "| club speed | launch, old | launch, new | backspin, old | backspin, new |",
        "|---|---|---|---|---|",
        *(_window_row(row) for row in moves.iter_rows(named=True)),
        "",
    ]


def _by_itself(moves: pl.DataFrame, findings: Findings) -> list[str]:
    """Say what each change of reference does to the old figures by itself."""
    references, lines = findings.references, []
    known = [change for change in references.changes if change.told_by in {"old", "new"}]
    readings = references.readings is not None and references.readings.moves
    alone = len(known) == 1 and not readings and references.is_known
    speeds = moves.get_column("speed_mph")
    for change in known:
        shown = [tenths(yd and yd * change.share) for yd in moves.get_column("old_yd")]
        if alone:  # then the table has the same figures
            shown = [shown_moves(row, findings)["reference_yd"] for row in moves.iter_rows(named=True)]
        lines.append(_moves_by(f"reference {change.column}", speeds, shown))
    if readings:
        lines.append(_moves_by("device of readings", speeds, [tenths(yd) for yd in moves.get_column("readings_yd")]))
    return [*lines, ""] if lines else []


def _moves_by(what: str, speeds_mph: Iterable[float], shown: Iterable[int | None]) -> str:
    each = [f"{_signed(yd)} yd at {speed:g} mph" for speed, yd in zip(speeds_mph, shown, strict=True) if yd is not None]
    where = ", ".join(each) or "nothing that is published"
    return f"- By itself, the change of {what} moves efficient carry by {where}."


def _carry_table(moves: pl.DataFrame, findings: Findings) -> list[str]:
    changed = findings.references.names
    shown = ["old", *(["here"] if changed else []), "new", "moved", *parts_of(findings)]
    names = {
        "old": "old, as published" if changed else "old",
        "here": f"old, on today's {changed}",
        "new": "new",
        "moved": "moved",
        "reference_yd": f"by the {changed}",
        "conditions_yd": "by standard conditions and flight",
        "model_yd": "by the model and golfers (90 % interval)",
    }
    rows = []
    for row in moves.iter_rows(named=True):
        parts = shown_moves(row, findings)
        cells = [_cell(name, parts, row) for name in shown]
        rows.append(f"| {row['speed_mph']:g} mph | {' | '.join(cells)} |")
    heads = " | ".join(f"{names[name]}, yd" for name in shown)
    return [f"| club speed | {heads} |", f"|{'---|' * (len(shown) + 1)}", *rows]


def _cell(name: str, parts: Mapping[str, int | None], row: Mapping[str, Any]) -> str:
    value = parts[name]
    if value is None:
        return "none" if name in {"old", "new"} else "not known"
    if name in {"old", "here", "new"}:
        return _shown_text(value)
    if name != "model_yd" or row["model_reach_yd"] is None:
        return _signed(value)
    ends = (tenths(row["model_yd"] + sign * row["model_reach_yd"]) for sign in (-1, 1))
    return f"{_signed(value)} ({' to '.join(_signed(end) for end in ends)})"


def _notes(findings: Findings) -> list[str]:
    said = []
    if not findings.references.is_known:
        said.append(
            f"What the change of {_from_to(findings.references)} does isn't known, so the moves can't be shared out."
        )
    said.append(
        "The part of the model and golfers is what the others leave. Its interval takes the two fits for independent. "
        "Golfers whom they share make it too wide."
    )
    return [" ".join(said), ""]


def _window_row(row: Mapping[str, Any]) -> str:
    cells = []
    for what, unit, decimals in (("launch", "deg", 2), ("spin", "rpm", 0)):
        for old in ("old_", ""):
            lo, hi = (row[f"{old}{what}_{end}_{unit}"] for end in ("lo", "hi"))
            cells.append("none" if lo is None else f"{round(lo, decimals):g} to {round(hi, decimals):g} {unit}")
    return f"| {row['speed_mph']:g} mph | {' | '.join(cells)} |"


def usual_lines(usual: pl.DataFrame, findings: Findings) -> list[str]:
    """Write the part about bands' usual carry.

    Parameters
    ----------
    usual : DataFrame
        From `usual_moves`.
    findings : Findings

    Returns
    -------
    list of str
        Lines of markdown; none where the two fits have no quarter in common.
    """
    if usual.is_empty():
        return []
    changed = findings.references.names
    here = f" | old, on today's {changed}, yd" if changed else ""
    lines = [
        f"Usual carry (50th percentile) of {usual.item(0, 'quarter')}, the newest quarter of both fits, in whole yards "
        "as it is published; by today's logs of that quarter:",
        "",
        f"| club speed | old, yd{here} | new, yd | moved, yd |",
        f"|---|---|---|---|{'---|' if changed else ''}",
    ]
    for row in usual.iter_rows(named=True):
        middle = f" | {_tenth(row['here_yd'])}" if changed else ""
        moved = "not known" if row["moved_yd"] is None else signed_text(row["moved_yd"])
        lines.append(
            f"| {row['band_mph']:g} mph | {_whole(row['old_yd'])}{middle} | {_whole(row['new_yd'])} | {moved} |"
        )
    return [*lines, ""]


def _whole(value: float | None) -> str:
    return "suppressed" if value is None else f"{value:.0f}"


def _tenth(value: float | None) -> str:
    return "not known" if value is None else f"{value:.1f}"


def _shown_text(value: int | None) -> str:
    return "none" if value is None else f"{value / 10:.1f}"


def _signed(value: int | None) -> str:
    return "not known" if value is None else signed_text(value / 10, 1)
