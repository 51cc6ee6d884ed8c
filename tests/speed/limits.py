"""Single measurements against the limit, each a process of its own: `python tests/speed/limits.py WHAT ...`.

copy LOG OUT: DuckDB's bare copy of a log to parquet, on one thread.
fit DRIVES: least squares of each candidate surface, and one pass over the same drives to form its normal matrix.
standardise DRIVES: carry moved to standard conditions.

The last two print seconds of processor time of each repeat as JSON. Run with one thread (`ONE_THREAD`).
"""

import json
import statistics
import sys
import time
from collections.abc import Callable
from typing import Any

REPEATS, CHUNK, DRIVES_A_GOLFER = 3, 100_000, 50


def copy(log: str, out: str) -> None:
    """Copy a csv file to parquet."""
    import duckdb

    with duckdb.connect(config={"threads": 1}) as connection:
        connection.execute(f"COPY (SELECT * FROM read_csv('{log}')) TO '{out}' (FORMAT parquet)")


def seconds(work: Callable[[], object]) -> float:
    """Give the median processor time of some repeats."""
    spent = []
    for _ in range(REPEATS):
        begin = time.process_time()
        work()
        spent.append(time.process_time() - begin)
    return statistics.median(spent)


def draw_drives(count: int) -> Any:
    """Draw drives as the fit gets them, with the air of their bays."""
    import polars as pl
    from make_study import AIRS, DEVICES, OFFSET_B_YD, Plan, Size, hit, make_table

    plan = Plan(Size(count, max(count // DRIVES_A_GOLFER, 20), 2), 1)
    frames = []
    for log, bay in enumerate(AIRS):
        rows = count // 2 + (count % 2) * log
        frame = hit(plan, log, rows, make_table(bay), OFFSET_B_YD * (bay == "b"))
        air = {name: pl.lit(None, pl.Float64) for name in ("pressure_hpa", "humidity", "wind_along_mps")}
        air |= {name: pl.lit(value) for name, value in AIRS[bay].items()}
        same = {"quarter": pl.lit(f"2026Q{log + 1}"), "device": pl.lit(DEVICES[bay]), "ball": pl.lit("premium")}
        frames.append(frame.with_columns(**air, **same, spin_measured=pl.lit(True)))
    drives = pl.concat(frames).with_columns(pl.col("spin_rpm").cast(pl.Float64))
    # Any carry will do for the columns of devices, and nobody knows of curves.
    added = {"flown_yd": pl.col("carry_yd"), "curve_yd": pl.lit(None, pl.Float64)}
    return drives.with_columns(**added).rename({"carry_yd": "carry_standard_yd"})


def fit(count: int) -> dict[str, dict[str, float]]:
    """Time fit and pass for each candidate, both over the same pieces of drives in memory."""
    import numpy as np
    from make_study import TRUE_BALL

    from pipeline.drives import Drives, inputs
    from pipeline.fit.candidates import candidates_for
    from pipeline.fit.factored import Factored, fit_candidate
    from pipeline.fit.flight_surface import FlightMaker
    from pipeline.fit.survey import Survey
    from pipeline.fit.usual_delivery import fit_usual_delivery
    from pipeline.physics.air import Air

    drives = draw_drives(count).sort("golfer", "quarter")
    piece = (drives.get_column("golfer").rank("dense") - 1) // (CHUNK // DRIVES_A_GOLFER)
    frames = drives.with_columns(piece.alias("piece")).partition_by("piece", include_key=False)
    survey = Survey.of(Drives(lambda: iter(frames)))
    air = Air.of(np.array(15.0), np.array(101325.0), np.array(0.0))
    trends = fit_usual_delivery(survey.typical)
    told = {}
    for candidate in candidates_for("ball", FlightMaker.of(TRUE_BALL, air, survey.extents["ball"])):
        surface = candidate.surface(survey.extents)
        model = fit_candidate(Factored.of(survey, surface), survey, trends).model

        def one_pass(model: Any = model) -> Any:
            surface = model.surface
            terms = surface.size + len(model.offsets.levels)
            gram, moment = np.zeros((terms, terms)), np.zeros(terms)
            for part in frames:
                base, design = surface.base_and_design(*inputs(part, surface.speed))
                X = np.hstack([design, model.offsets.terms(part)])
                gram += X.T @ X
                moment += X.T @ (part.get_column("carry_standard_yd").to_numpy() - base)
            return gram, moment

        def whole_fit(surface: Any = surface) -> Any:
            return fit_candidate(Factored.of(survey, surface), survey, trends)

        def without_errors(surface: Any = surface) -> Any:
            return Factored.of(survey, surface).solve(survey.offsets())

        works = {"fit_s": whole_fit, "solve_s": without_errors, "pass_s": one_pass}
        told[candidate.name] = {name: seconds(work) for name, work in works.items()}
    return told


def standardise(count: int) -> dict[str, float]:
    """Time the moving of carry to standard conditions."""
    import numpy as np
    from make_study import TRUE_BALL

    from pipeline.flight.standard import AirNodes, StudyTables, standard_flight
    from pipeline.physics.air import Air
    from pipeline.physics.air_of_drives import air_of_drives

    drives = draw_drives(count)
    here = Air.of(np.array(15.0), np.array(101325.0), np.array(0.0))
    standard = (float(here.density_kg_m3), float(here.viscosity_pa_s))
    tables = StudyTables.build(TRUE_BALL, standard, AirNodes.of(air_of_drives(drives, 15.0, 1013.25)[0]))
    standard_flight(drives.head(1000), tables, 15.0, 1013.25, 1.45)  # what is made once isn't counted
    return {"seconds": seconds(lambda: standard_flight(drives, tables, 15.0, 1013.25, 1.45)), "drives": count}


if __name__ == "__main__":
    what, *given = sys.argv[1:]
    if what == "copy":
        copy(*given)
    else:
        print(json.dumps({"fit": fit, "standardise": standardise}[what](int(given[0]))))
