"""Run one step: `python -m pipeline.step NAME JSON...`, each JSON an object of keywords of the step's `run`.

Only the module of that step is imported, so that a step starts quickly. The workflow's rules have the same names.
"""

import importlib
import json
import os
import sys
from collections.abc import Sequence
from typing import Any

from pipeline.ending import told
from pipeline.errors import UserError

MODULES = {
    "collect_logs": "pipeline.collect.collect_logs",
    "load_shots": "pipeline.collect.load_shots",
    "collect_swings": "pipeline.collect.collect_swings",
    "calibrate_flight": "pipeline.flight.calibrate_flight",
    "build_flight_table": "pipeline.flight.build_flight_table",
    "standardise_shots": "pipeline.flight.standardise_shots",
    "fit_model": "pipeline.fit.fit_model",
    "keep_model": "pipeline.fit.keep_model",
    "build_bands": "pipeline.benchmark.build_bands",
    "assess_golfers": "pipeline.golfers.assess_golfers",
    "advise_delivery": "pipeline.coach.delivery.advise_delivery",
    "assess_progress": "pipeline.coach.progress.assess_progress",
    "plan_goals": "pipeline.coach.goals.plan_goals",
    "assess_practice": "pipeline.coach.practice.assess_practice",
    "draw_figures": "pipeline.report.figures.draw_figures",
    "write_report": "pipeline.report.page.write_report",
    "write_sheets": "pipeline.report.sheet.write_sheets",
    "write_diagnostics": "pipeline.report.diagnostics.write_diagnostics",
    "write_database": "pipeline.report.database.write_database",
    "write_workbook": "pipeline.report.workbook.write_workbook",
    "write_lookup": "pipeline.report.lookup.write_lookup",
    "summarise_run": "pipeline.report.summary.summarise_run",
}

# Sums over floats depend in their last digits on how many threads share them, so that a machine with more cores would
# write other bytes; steps run side by side anyway. Set before numpy and polars are imported by a step.
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "POLARS_MAX_THREADS")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the step named by the arguments (those of the command line if None); give the exit status."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    with told(f"in the step {given[0]}" if given else "in no step") as outcome:
        if len(given) < 2 or given[0] not in MODULES:
            raise UserError(f"usage: python -m pipeline.step NAME JSON..., where NAME is one of {', '.join(MODULES)}.")
        name, *texts = given
        keywords: dict[str, Any] = {}
        for text in texts:
            try:
                part = json.loads(text)
            except json.JSONDecodeError:
                raise UserError(f"{name}: the settings are no JSON; give objects of keywords.") from None
            if not isinstance(part, dict):
                raise UserError(f"{name}: the settings are no JSON object; give objects of keywords.")
            keywords |= part
        os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
        importlib.import_module(MODULES[name]).run(**keywords)
    return outcome.status


if __name__ == "__main__":
    sys.exit(main())
