"""Which golfers' flags would change with another model: yards lost by each of two, and who is flagged."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipeline.benchmark.efficient import Efficient, Population
from pipeline.benchmark.efficient_by_speed import errors_of, find_efficient, frontier_of
from pipeline.benchmark.form_error import best_deliveries, form_error, sample_of, with_form_error
from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.misread import device_shares, misread_ratio, with_misread
from pipeline.benchmark.published import Publisher
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.configuration.study import StandardAir
from pipeline.drives import Drives
from pipeline.fit.model import CarryModel
from pipeline.flight.devices import StudyDevices
from pipeline.golfers.flags import FlagRules, assess
from pipeline.golfers.losses import known_losses
from pipeline.golfers.ranking import ranked
from pipeline.golfers.shared_errors import SharedErrors
from pipeline.shown import signed_text


@dataclass(frozen=True)
class FlagChanges:
    """How flags of a quarter differ between two models.

    Attributes
    ----------
    quarter : str
    assessed : int
        Golfers whom both models assess.
    both, old_alone, new_alone : int
        Flagged by both models, and by one of them alone; golfers whom the other doesn't assess count, too.
    mean_yd, largest_yd : float or None
        Mean of yards lost by the new model less those by the old one, and the largest such difference; None where
        both assess nobody.
    """

    quarter: str
    assessed: int
    both: int
    old_alone: int
    new_alone: int
    mean_yd: float | None
    largest_yd: float | None


def efficient_of(by: Publisher, roller: Roller) -> dict[float, Efficient]:
    """Find what is efficient by a model at all club speeds that its golfers reach; see `find_efficient`."""
    rules = by.rules
    population = Population.from_typical(by.typical, rules.min_shots, rules.deliveries)
    return find_efficient(
        by.model, by.refits, population, rules.bands, rules.min_golfers, rules.tolerance_yd, roller, quiet=True
    )


def shared_errors_of(
    by: Publisher, used: Drives, fitted_on: int, devices: StudyDevices, air: StandardAir, roller: Roller
) -> SharedErrors:
    """Recalculate the frontier of a model and the errors that golfers share.

    Parameters
    ----------
    by : Publisher
    used : Drives
        Drives that its fit can use, with carry_measured_yd and the air columns.
    fitted_on : int
        About the number of these drives.
    devices : StudyDevices
    air : StandardAir
        Standard conditions.
    roller : Roller
        Totals go by it; yards lost don't.

    Returns
    -------
    SharedErrors
        As the steps `build_bands` and `assess_golfers` have them.
    """
    rules, standard = by.rules, air.model_dump(mode="json")
    half_width_mph = rules.bands.half_width_mph
    efficient = {**by.efficient} or efficient_of(by, roller)
    moved_share = 0.0
    if efficient:
        at = best_deliveries(by.model, efficient)
        form = form_error(by.model, sample_of(used, fitted_on), at, standard)
        shares = device_shares(used, at.club_speed_mph, half_width_mph, devices)
        efficient = with_misread(with_form_error(efficient, form), misread_ratio(by.model, at, shares, devices))
        moved_share = form.moved_share
    where: dict[str, Any] = {"study": "", "air": standard, "turf": "", "model_file": ""}
    frontier: Frontier = frontier_of(
        efficient, used, half_width_mph, tolerance_yd=rules.tolerance_yd, moved_share=moved_share, **where
    )
    errors = errors_of(efficient, len(by.refits.counts))
    return SharedErrors.read_from(frontier, by.model, errors, by.refits.to_arrays(), devices)


def flagged_by(drives: Drives, model: CarryModel, shared: SharedErrors, rules: FlagRules) -> pl.DataFrame:
    """Assess the golfers of the newest quarter with a model.

    Parameters
    ----------
    drives : Drives
        Accepted drives of all quarters, as `known_losses` takes them.
    model : CarryModel
    shared : SharedErrors
        Of the model's frontier.
    rules : FlagRules

    Returns
    -------
    DataFrame
        golfer, quarter, lost_yd, status.
    """
    known, _ = known_losses(drives, model, shared, rules.day_form_yd)
    table = assess(ranked(known), rules).select("golfer", "quarter", "lost_yd", pl.col("status").cast(pl.String))
    return table.filter(pl.col("quarter") == pl.col("quarter").max())


def flag_changes(old: pl.DataFrame, new: pl.DataFrame) -> FlagChanges:
    """Compare what two models say of the golfers of a quarter.

    Parameters
    ----------
    old, new : DataFrame
        From `flagged_by`, of the same drives.
    """
    pair = new.join(old.drop("quarter"), on="golfer", suffix="_old", validate="1:1").sort("golfer")
    assessed = pair.filter((pl.col("status") != "not_assessed") & (pl.col("status_old") != "not_assessed"))
    now, then = (pair.get_column(name).eq("flagged").to_numpy() for name in ("status", "status_old"))
    step = (assessed.get_column("lost_yd") - assessed.get_column("lost_yd_old")).to_numpy()
    return FlagChanges(
        new.item(0, "quarter") if new.height else "",
        assessed.height,
        int(np.sum(now & then)),
        int(np.sum(then & ~now)),
        int(np.sum(now & ~then)),
        float(step.mean()) if len(step) else None,
        float(step[np.argmax(np.abs(step))]) if len(step) else None,
    )


def flag_lines(found: FlagChanges, changed: str = "") -> list[str]:
    """Write the part of comparison.md about golfers, lines of markdown; `changed` names references that changed."""
    if found.mean_yd is None or found.largest_yd is None:
        said = f"No golfer of {found.quarter} is assessed by both models." if found.quarter else "There are no golfers."
        return ["## Golfers", said, ""]
    count = found.old_alone + found.new_alone
    flags = "No flag differs" if count == 0 else f"{count} flag{' differs' if count == 1 else 's differ'}"
    lines = [
        f"{flags} among the {found.assessed} golfers of {found.quarter} whom both models assess: {found.both} are "
        f"flagged by both, {found.old_alone} by the old model alone, {found.new_alone} by the new one alone.",
        f"On average, yards lost by the new model less those by the old one are {signed_text(found.mean_yd, 1)} yd; "
        f"the largest difference is {signed_text(found.largest_yd, 1)} yd.",
    ]
    if changed:
        lines.append(f"The change of {changed} hardly counts here: it moves efficient carry and golfers' carry alike.")
    return ["## Golfers", " ".join(lines), ""]
