"""Step: fit the candidate models, hold them against each other on golfers held out, keep the chosen one.

In: shots.duckdb, calibration.json. Out: model.json (the chosen model), coefficients.csv (every candidate), scores.csv,
card.md, typical.parquet (one row per golfer), replicates.npz (refits on resampled golfers) and held_out.parquet (the
chosen model's predictions on golfers held out, one row per drive of the fit, in the order of source and row).
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.errors import UserError
from pipeline.files import whole, write_csv, write_json, write_parquet, write_text
from pipeline.fit.card import write_card
from pipeline.fit.contest import (
    EVERYTHING,
    Candidate,
    Fitted,
    HeldOut,
    candidates_for,
    choose,
    enough_for_a_fit,
    fit_candidate,
    fold_trends,
    hold_out,
    interval_edges,
    may_compete,
    score,
)
from pipeline.fit.drives import golfer_codes, inputs, speed_of_study, typical_drives, usable
from pipeline.fit.flight_surface import FlightMaker
from pipeline.fit.least_squares import Z90
from pipeline.fit.model import known_key
from pipeline.fit.replicates import draw_counts, refit
from pipeline.flight.air import Air
from pipeline.flight.calibrate import Calibration
from pipeline.store import read_drives
from pipeline.study import StandardAir
from pipeline.tables import Coefficients, Scores, types_of


def run(
    database: str,
    model: str,
    coefficients: str,
    scores: str,
    card: str,
    typical: str,
    replicates: str,
    held_out: str,
    calibration: str,
    study: str,
    seed: int,
    air: dict[str, Any],
) -> None:
    """Run the step; see the module's docstring."""
    drives = read_drives(Path(database))
    speed = speed_of_study(drives)
    used = drives.filter(pl.Series(usable(drives, speed)))
    enough_for_a_fit(used)
    entries = compete(candidates_for(speed, flight_of(Path(calibration), air, used)), used, seed)
    table, chosen = score_table(entries, used)
    _, fitted, held = entries[chosen]
    interval = {known: interval_edges(held.measured, predicted) for known, predicted in held.predicted.items()}
    kept = fitted.model.with_interval(interval)
    golfers = typical_drives(drives, ["golfer"])
    print("Refitting on resampled golfers ...", flush=True)
    refits = refit(kept, used, golfers, draw_counts(golfers.height, seed))

    write_json(Path(model), {"study": study, "model": kept.to_dict(), "fitted_on": _fitted_on(used)})
    write_csv(Path(coefficients), Coefficients.validate(coefficient_table([entry[1] for entry in entries])))
    write_csv(Path(scores), Scores.validate(table))
    write_text(Path(card), write_card(study, kept, table, used, fitted.fit.residual_sd))
    write_parquet(Path(typical), golfers)
    write_parquet(Path(held_out), held_out_table(held))
    with whole(Path(replicates)) as part, part.open("wb") as file:
        np.savez(file, allow_pickle=False, **refits.to_arrays())
    best = table.row(chosen, named=True)
    print(f"Fitted {used.height} drives of {best['golfers']} golfers: chose {best['model']}, {best['rmse_yd']:.2f} yd.")


def flight_of(calibration: Path, air: dict[str, Any], used: pl.DataFrame) -> FlightMaker | None:
    """Fly the flight candidate's points at standard conditions; None where no drive has ball speed."""
    if used.get_column("ball_speed_mph").null_count() > 0:
        return None
    standard = StandardAir.model_validate(air)
    here = Air.of(standard.temp_c, standard.pressure_hpa * 100, standard.humidity)
    kept = Calibration.from_dict(json.loads(calibration.read_text(encoding="utf-8"))["calibration"])
    return FlightMaker.of(kept.ball, here, inputs(used, "ball"))


Entry = tuple[Candidate, Fitted, HeldOut]


def compete(candidates: tuple[Candidate, ...], used: pl.DataFrame, seed: int) -> list[Entry]:
    """Fit each candidate and predict held-out golfers with it.

    Raises
    ------
    UserError
        If not even the straight line can be fitted. A richer candidate that can't is left out of the contest.
    """
    entries: list[Entry] = []
    trends = fold_trends(used, seed)
    for candidate in candidates:
        print(f"Fitting {candidate.name} ...", flush=True)
        try:
            reason = may_compete(candidate, used)
            if reason is not None:
                raise UserError(f"The candidate {candidate.name} {reason}.")
            entries.append((candidate, fit_candidate(candidate, used), hold_out(candidate, used, seed, trends)))
        except UserError as error:
            if not entries:
                raise
            print(f"{candidate.name} does not compete: {error}")
    return entries


def score_table(entries: list[Entry], used: pl.DataFrame) -> tuple[pl.DataFrame, int]:
    """Score the candidates; give the table `Scores` and the chosen one's place."""
    golfer = golfer_codes(used)
    scored = [score(held, golfer) for _, _, held in entries]
    chosen = choose(scored)
    rows: list[dict[str, Any]] = [
        {
            "model": candidate.name,
            "terms": held.terms,
            "golfers": int(golfer.max()) + 1,
            "shots": used.height,
            **figures,
            "chosen": place == chosen,
            "note": f"over {fitted.model.surface.speed} speed",
        }
        for place, ((candidate, fitted, held), figures) in enumerate(zip(entries, scored, strict=True))
    ]
    schema = types_of(Scores)
    return pl.DataFrame(rows, schema=schema, orient="row"), chosen


def coefficient_table(fits: list[Fitted]) -> pl.DataFrame:
    """List every candidate's terms with standard errors and 90 % intervals: the table `Coefficients`."""
    return pl.concat(
        pl.DataFrame(
            {
                "model": [fitted.model.surface.name] * len(fitted.labels),
                "term": list(fitted.labels),
                "estimate": fitted.fit.coefficients,
                "std_error": fitted.fit.std_errors,
                "lo90": fitted.fit.coefficients - Z90 * fitted.fit.std_errors,
                "hi90": fitted.fit.coefficients + Z90 * fitted.fit.std_errors,
            }
        )
        for fitted in fits
    )


def held_out_table(held: HeldOut) -> pl.DataFrame:
    """List measured and predicted carry, yd, per drive: from all inputs, and from club speed alone."""
    return pl.DataFrame(
        {
            "measured_yd": held.measured,
            "predicted_yd": held.predicted[EVERYTHING],
            "predicted_by_club_speed_yd": held.predicted[known_key(False, False, False)],
            "fold": held.fold,
        }
    )


def _fitted_on(used: pl.DataFrame) -> dict[str, Any]:
    return {
        "drives": used.height,
        "golfers": used.get_column("golfer").n_unique(),
        "quarters": sorted(used.get_column("quarter").unique().to_list()),
    }
