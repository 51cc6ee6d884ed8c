"""Step: write the comparison of the newest fit with the kept model that judged it, in words and tables.

In: drives.parquet, the files of the fit and of flight's calibration, those of the kept model that the fit is compared
with (none for the first), verdict.json and held_against.json of the judgement, frontier.json. Out: comparison.md.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.benchmark.frontier import Frontier
from pipeline.drives import Drives
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.files import write_text
from pipeline.fit.comparison import Scored, Verdict
from pipeline.fit.comparison_text import write_comparison, write_first
from pipeline.fit.findings import Findings, compare
from pipeline.fit.keep_model import form_of, open_to_compare, read_fitted, read_kept, read_record
from pipeline.fit.kept import versions_changed
from pipeline.fit.lineage import Record
from pipeline.fit.model_changes import ComparedFit
from pipeline.fit.survey import Survey
from pipeline.fit.verdict import KEEP, ModelVerdict


def run(
    drives: str,
    frontier: str,
    old: Sequence[str],
    verdict: str,
    scored: str,
    comparison: str,
    study: str,
    settings: dict[str, Any],
    centres: Sequence[float],
    golfers: float,
    **fit: str,
) -> None:
    """Run the step; see the module's docstring.

    `fit` names the fit's files as `FILES` does, `golfers` is the setting adoption.golfers.
    """
    judged = read_artefact(verdict, ModelVerdict)
    new = read_fitted(fit, judged.id, settings["air"])
    if judged.parent is None:
        write_text(Path(comparison), write_first(study, new, judged.lost_parent))
        return
    scores = read_artefact(scored, Scored)
    used, reached = open_to_compare(Path(drives)), read_artefact(frontier, Frontier)
    findings = compared(read_kept(old), read_record(old), new, used, settings["seed"], reached, scores)
    found = Verdict(judged.verdict != KEEP, judged.reasons)
    write_text(Path(comparison), write_comparison(study, new, findings, found, centres, golfers))


def compared(
    old: ComparedFit,
    record: Record,
    new: ComparedFit,
    used: Drives,
    seed: int,
    reached: Frontier,
    scored: Scored | None = None,
) -> Findings:
    """Compare a fit with a kept model.

    Parameters
    ----------
    old : ComparedFit
    record : Record
        Of the old model.
    new : ComparedFit
    used : Drives
        Carry at the new fit's standard conditions; see `pipeline.fit.keep_model.open_to_compare`.
    seed : int
        Of the folds.
    reached : Frontier
        Whose efficient deliveries are compared.
    scored : Scored or None
        None scores the two.
    """
    survey = Survey.of(used, seed)
    efficient = reached.best_delivery(reached.speed_mph, np.full_like(reached.speed_mph, np.nan))
    return compare(old, new, form_of(new, survey), survey, efficient, versions_changed(record), scored)
