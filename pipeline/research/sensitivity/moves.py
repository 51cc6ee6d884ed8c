"""What every scenario moves: the table `Sensitivity`."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from typing import Any

import numpy as np
import polars as pl

from pipeline.errors import UserError
from pipeline.research.sensitivity.judged import count, judge
from pipeline.research.sensitivity.scenarios import THE_BASE, Scenario
from pipeline.research.sensitivity.worked_out import Asked, Found, work_out
from pipeline.shown import number_text
from pipeline.tables.sensitivity import Sensitivity
from pipeline.tables.types import types_of
from pipeline.threads import in_order

Row = dict[str, Any]

APART_YD = 0.05  # a difference that a tenth of a yard shows


def moves_of(
    asked: Asked, scenarios: Sequence[Scenario], doubt: pl.DataFrame, say: Callable[[str], None]
) -> pl.DataFrame:
    """Work out the base and every scenario, side by side, and list what moves.

    Parameters
    ----------
    asked : Asked
    scenarios : sequence of Scenario
        Without the base.
    doubt : DataFrame
        From `known_losses`, by the published model.
    say : callable
        Takes a line on how far the work is.

    Returns
    -------
    DataFrame
        With the columns of `Sensitivity`, the base first. A scenario that can't be fitted has one row, whose note says
        why.
    """
    base = work_out(asked, THE_BASE)
    base = replace(base, note=_apart(asked, base))
    judged = judge(doubt, base.lost, asked.flags)
    rows = _rows(asked, THE_BASE, base, base, judged, judged)

    def tried(scenario: Scenario) -> list[Row]:
        try:
            found = work_out(asked, scenario)
        except UserError as error:
            note = f"not tried: {error}"
            return [{"scenario": scenario.name, "choice": scenario.choice, "kind": scenario.kind, "note": note}]
        other = judge(doubt, found.lost, asked.flags, scenario.min_shots)
        return _rows(asked, scenario, base, found, judged, other)

    for scenario, found in zip(scenarios, in_order(tried, scenarios), strict=True):
        rows += found
        say(f"Tried: {scenario.name}.")
    return pl.DataFrame(rows, schema=types_of(Sensitivity), orient="row")


def _apart(asked: Asked, base: Found) -> str | None:
    """Say how far the base is from what is published, as where a sample of golfers stands for all; None if nowhere."""
    centres = np.isin(asked.frontier.speed_mph, asked.bands.centres_mph)
    away = np.abs(base.frontier.carry_yd - asked.frontier.carry_yd)[centres]
    most = float(np.nanmax(away)) if np.isfinite(away).any() else 0.0
    if most < APART_YD:
        return None
    return f"efficient carry of the drives tried here is up to {number_text(most, 1)} yd from the published one"


def _rows(
    asked: Asked, scenario: Scenario, base: Found, found: Found, before: pl.DataFrame, judged: pl.DataFrame
) -> list[Row]:
    """Give a scenario's rows, a band each and one of all golfers."""
    notes = "; ".join(note for note in (scenario.note, found.note) if note) or None
    same: Row = {"scenario": scenario.name, "choice": scenario.choice, "kind": scenario.kind, "note": notes}
    same |= {"drives": found.drives, "golfers": found.golfers}
    bands = asked.bands.band_of(before.get_column("club_speed_mph").to_numpy())
    rows: list[Row] = []
    for centre in asked.bands.centres_mph:
        counted = count(before, judged, bands == centre)
        rows.append(same | {"band_mph": centre} | _efficient(asked, scenario, base, found, centre) | asdict(counted))
    return [*rows, same | asdict(count(before, judged))]


def _efficient(asked: Asked, scenario: Scenario, base: Found, found: Found, centre: float) -> Row:
    """Give a band's efficient carry, its move, the interval's reach, delivery and window; nothing is not reached."""
    at = {name: _known(float(found.frontier.at(name, centre))) for name in ("carry_yd", "launch_deg", "spin_rpm")}
    carry, reference = at.pop("carry_yd"), _known(float(base.frontier.at("carry_yd", centre)))
    published = asked.frontier
    reach = _known(float(published.at(published.hi90_yd - published.lo90_yd, centre)) / 2)
    move = None if carry is None or reference is None else carry - reference
    held = abs(move) <= reach if scenario.kind == "alternative" and move is not None and reach is not None else None
    window = found.windows.get(centre)
    return {
        "efficient_carry_yd": carry,
        "move_yd": move,
        "reach_yd": reach,
        "held": held,
        **at,
        **({} if window is None else asdict(window)),
    }


def _known(value: float) -> float | None:
    return None if np.isnan(value) else value
