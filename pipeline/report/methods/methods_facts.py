"""What the methods text says of a run, as text: every figure from the run's tables, rounded by its standard error."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import dataframely as dy
import numpy as np
import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.configuration.study import Efficient, StandardAir
from pipeline.drives import Speed
from pipeline.fit.model import CarryModel
from pipeline.fit.verdict import ModelInUse
from pipeline.flight.calibrate import StudyFlight
from pipeline.flight.offsets import UNSTATED
from pipeline.markdown import shown_text
from pipeline.shown import by_error, number_text
from pipeline.statistics.intervals import t_reach
from pipeline.tables.devices import Devices
from pipeline.tables.figures import Scores
from pipeline.tables.golfers import Golfers
from pipeline.tables.logs import Sources

READINGS = {"club_speed": "club speed", "ball_speed": "ball speed", "launch": "launch", "spin": "spin"}


@dataclass(frozen=True)
class RunTables:
    """Tables of a run."""

    sources: dy.DataFrame[Sources]
    devices: dy.DataFrame[Devices]
    golfers: dy.DataFrame[Golfers]
    scores: dy.DataFrame[Scores]
    levels: pl.DataFrame  # device, ball and drives of the accepted drives, a row for each pair


def counted(number: int, one: str, many: str | None = None) -> str:
    """Write a number with its noun: `1 device`, `2 devices`."""
    return f"{number:,} {one if number == 1 else many or f'{one}s'}"


def listed(names: Sequence[str]) -> str:
    """Join names as a sentence has them."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def data_facts(tables: RunTables, used: ModelInUse, speed: Speed) -> dict[str, Any]:
    """Say how many rows, drives, golfers, devices and balls there are."""
    logs = tables.sources
    rows, accepted, rejected, duplicates = (
        int(logs.get_column(name).sum()) for name in ("rows", "accepted", "rejected", "duplicates")
    )
    refused = logs.filter(pl.col("status") == "refused").height
    on = used.fitted_on
    quarters = sorted(tables.golfers.get_column("quarter").unique().to_list())
    return {
        "rows": counted(rows, "row"),
        "accepted": counted(accepted, "drive"),
        "rejected": _were(rejected, "rejected", "none was rejected"),
        "duplicates": _were(duplicates, "duplicates", "there were no duplicates", "a duplicate"),
        "logs": counted(logs.height - refused, "log"),
        "refused": f" {counted(refused, 'log was', 'logs were')} refused as a whole." if refused else "",
        "golfers": counted(tables.golfers.get_column("golfer").n_unique(), "golfer"),
        "quarters": f"{'quarter' if len(quarters) == 1 else 'quarters'} {listed(quarters)}",
        "fitted_drives": counted(on.drives, "drive"),
        "fitted_golfers": counted(on.golfers, "golfer"),
        "fitted_quarters": f"{'quarter' if len(on.quarters) == 1 else 'quarters'} {listed(on.quarters)}",
        "left_out": _left_out(accepted - on.drives, speed),
        "measured_by": _measured_by(tables.levels, "device", "device"),
        "balls": _measured_by(tables.levels, "ball", "kind of ball", "kinds of ball"),
    }


def _were(number: int, many: str, none: str, one: str | None = None) -> str:
    """Say how many there were: `none was rejected`, `1 was rejected`, `7 were rejected`."""
    return f"{number:,} {'was' if number == 1 else 'were'} {one or many if number == 1 else many}" if number else none


def _left_out(number: int, speed: Speed) -> str:
    if number <= 0:
        return ""
    lacking = "ball speed or a measured spin" if speed == "ball" else "a measured spin"
    return f"; {counted(number, 'accepted drive', 'accepted drives')} without {lacking} could not be in it"


def _measured_by(levels: pl.DataFrame, column: str, one: str, many: str | None = None) -> str | None:
    """Count and name devices or balls; None where no log names any."""
    named = [shown_text(name) for name in levels.get_column(column).unique().drop_nulls().sort() if name != UNSTATED]
    return f"{counted(len(named), one, many)} ({listed(named)})" if named else None


def device_facts(devices: pl.DataFrame, model: CarryModel) -> dict[str, Any]:
    """Say what was put right of devices' readings, and what devices and balls add to carry."""
    corrected = devices.filter("corrected").select("device", "reading").unique(maintain_order=True)
    named = [f"{READINGS.get(reading, reading)} of {shown_text(device)}" for device, reading in corrected.rows()]
    shares = zip(model.offsets.levels, model.offset_share, model.offset_std_error, strict=True)
    known = devices.filter(pl.col("difference").is_not_null()).get_column("device").n_unique()
    return {
        "compared": known,
        "uncompared": devices.get_column("device").n_unique() - known,
        "reference": shown_text(model.offsets.reference.get("device", UNSTATED)),
        "reference_ball": shown_text(model.offsets.reference.get("ball", UNSTATED)),
        "corrected": f"what was clearly off was put right ({listed(named)})" if named else "none was clearly off",
        "shares": [
            f"{column} {shown_text(level)} {by_error(100 * share, 100 * error, signed=True)} ± "
            f"{by_error(100 * error, 100 * error)} %"
            for (column, level), share, error in shares
        ],
    }


def flight_facts(flight: StudyFlight, air: Mapping[str, float]) -> dict[str, Any]:
    """Say which coefficients the flight has, how they were fitted, and to which air carry was moved."""
    found = flight.calibration
    facts: dict[str, Any] = {
        "set": found.coefficients,
        "air": StandardAir.model_validate(air).text,
        "calibrated": found.drag_std_error is not None and found.lift_std_error is not None,
        "calibrated_on": f"{counted(found.drives, 'drive')} of {counted(found.golfers, 'golfer')}",
    }
    if found.drag_std_error is not None and found.lift_std_error is not None:
        pairs = {"drag": (found.drag, found.drag_std_error), "lift": (found.lift, found.lift_std_error)}
        facts |= {name: _with_error(*pair) for name, pair in pairs.items()}
    return facts


def _with_error(value: float, error: float, unit: str = "") -> str:
    return f"{by_error(value, error)} ± {by_error(error, error)}{unit}"


def model_facts(
    model: CarryModel, scores: pl.DataFrame, used: ModelInUse, replicates: int, settings: Mapping[str, Any]
) -> dict[str, Any]:
    """Say which candidates competed, how well they did, and which one is used."""
    rows = scores.to_dicts()
    chosen = next(row for row in rows if row["chosen"])
    folds = min(settings["model"]["folds"], used.fitted_on.golfers)
    return {
        "id": used.choice.id,
        "kept": used.choice.kept,
        "speed": model.surface.speed,
        "chosen": chosen["model"],
        "candidate_forms": _forms([row["model"] for row in rows]),
        "candidates": [
            f"{row['model']} {_with_error(row['rmse_yd'], row['rmse_std_error_yd'], ' yd')}" for row in rows
        ],
        "terms": counted(chosen["terms"], "term"),
        "coverage": number_text(100 * chosen["coverage90"], 1),
        "forced": settings["model"]["choose"] is not None,
        # A kept model may have been fitted with other folds than today's settings say.
        "folds": "" if used.choice.kept else f", in {folds} folds of golfers",
        "replicates": replicates,
        "seed": settings["seed"],
    }


FORMS = {
    "line": "a straight line in each input (line)",
    "flight": "calibrated flight with a second-order correction (flight)",
    "quadratic": "a second-order surface (quadratic)",
    "splines": "natural cubic splines with four knots an axis (splines; Harrell 2015)",
}


def _forms(names: Sequence[str]) -> str:
    """Say of which forms the candidates are."""
    said = [FORMS.get(name, f"{name}, a form of the study's own") for name in names]
    if len(said) == 1:
        return f"The only candidate was {said[0]}."
    return f"Candidates were, from simple to rich, {listed(said)}."


def efficient_facts(frontier: Frontier, model: CarryModel, settings: Mapping[str, Any]) -> dict[str, Any]:
    """Say what is efficient, and efficient carry at each band's center with its interval."""
    rule, level = Efficient.model_validate(settings["efficient"]), settings["intervals"]["level"]
    strike = number_text(100 * model.usual.strike)
    bands = []
    for centre in sorted(settings["bands"]["centres"]):
        carry, error, freedom = (float(frontier.at(name, centre)) for name in ("carry_yd", "std_error_yd", "freedom"))
        if not np.isnan(carry):
            reach = float(t_reach(freedom, level)) * error
            low, high = (by_error(carry + sign * reach, error) for sign in (-1, 1))
            bands.append(f"{by_error(carry, error)} ({low} to {high}) at {centre:g} mph")
    return {
        "deliveries": number_text(100 * rule.deliveries),
        "struck": (
            f"with the speed ratio that {strike} % of those golfers are below"
            if model.by_ball_speed
            else f"as well as the golfer whom {strike} % of golfers are below"
        ),
        "level": f"{100 * level:g}",
        "bands": bands,
        "half_width": f"{settings['bands']['half_width_mph']:g}",
        "tolerance": f"{frontier.tolerance_yd:g}",
    }


def flag_facts(golfers: pl.DataFrame, settings: Mapping[str, Any]) -> dict[str, Any]:
    """Say by which rules golfers are flagged, and how many are in the newest quarter."""
    flags = settings["flags"]
    newest = golfers.filter(pl.col("quarter") == pl.col("quarter").max())
    return {
        "lost": f"{flags['lost_yd']:g}",
        "rate": f"{100 * flags['false_discovery_rate']:g}",
        "min_shots": flags["min_shots"],
        "min_golfers": settings["privacy"]["min_golfers"],
        "newest": newest.item(0, "quarter"),
        "assessed": newest.filter(pl.col("status") != "not_assessed").height,
        "of_golfers": counted(newest.height, "golfer"),
        "flagged": _were(newest.filter("flagged").height, "flagged", "none was flagged"),
    }
