"""Step: write the comparison of the newest fit with the kept model that judged it, in words and tables.

In: drives.parquet, the files of the fit and of flight's calibration, those of the kept model that the fit is compared
with (none for the first), verdict.json and held_against.json of the judgement, frontier.json and
efficient_replicates.npz of the model in use, tables.npz, devices.json. Out: comparison.md.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.published import BenchmarkRules
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.drives import Drives, speed_of_study
from pipeline.edge.artefacts import read_arrays, read_artefact
from pipeline.edge.files import write_text
from pipeline.fit.comparison import Scored, Verdict, judge
from pipeline.fit.comparison_text import write_first
from pipeline.fit.findings import compare
from pipeline.fit.keep_model import form_of, open_to_compare, read_fitted, read_kept, read_record
from pipeline.fit.kept import FILES, versions_changed
from pipeline.fit.lineage import Record
from pipeline.fit.resampled import ResampledFits
from pipeline.fit.setting_changes import setting_changes
from pipeline.fit.survey import Survey
from pipeline.fit.verdict import KEEP, ModelVerdict
from pipeline.flight.devices import StudyDevices
from pipeline.flight.standard import StudyTables
from pipeline.golfers.flags import FlagRules
from pipeline.golfers.shared_errors import SharedErrors
from pipeline.physics.turf import FIRMNESS
from pipeline.research.model_comparison import Side, comparison_text


@dataclass(frozen=True)
class Today:
    """What two fits are compared on.

    Attributes
    ----------
    drives : Drives
        All accepted ones, from `open_to_compare`, carry as the new fit has it.
    devices : StudyDevices
    frontier : Frontier
        Whose efficient deliveries are compared.
    roller : Roller
    settings : mapping
        The study's: air, seed, bands, flags, privacy, window_tolerance_yd, efficient, model, adoption.
    """

    drives: Drives
    devices: StudyDevices
    frontier: Frontier
    roller: Roller
    settings: Mapping[str, Any]

    @classmethod
    def of(cls, drives: Drives, devices: str, frontier: str, tables: str, settings: Mapping[str, Any]) -> "Today":
        """Read the files of a run."""
        roller = Roller(StudyTables.from_arrays(read_arrays(tables)).standard, FIRMNESS[settings["flight"]["turf"]])
        return cls(drives, read_artefact(devices, StudyDevices), read_artefact(frontier, Frontier), roller, settings)

    def rules(self, recorded: Mapping[str, Any]) -> BenchmarkRules:
        """Give the rules of benchmarks that a record tells, and today's where it tells none."""
        return BenchmarkRules.of({**self.settings, **recorded})


def run(
    drives: str,
    tables: str,
    devices: str,
    frontier: str,
    efficient_replicates: str,
    old: Sequence[str],
    verdict: str,
    scored: str,
    comparison: str,
    study: str,
    settings: dict[str, Any],
    recorded: dict[str, Any],
    beside: str | None = None,
    **fit: str,
) -> None:
    """Run the step; see the module's docstring.

    `fit` names the fit's files as `FILES` does; `recorded` are the settings that the fit's record has.
    """
    judged = read_artefact(verdict, ModelVerdict)
    new = read_fitted(fit, judged.id, settings["air"], read_artefact(devices, StudyDevices).reference)
    if judged.parent is None:
        write_text(Path(comparison), write_first(study, new, judged.lost_parent))
        return
    every = open_to_compare(Path(drives), beside, (read_kept(old).model, new.model))
    today = Today.of(every, devices, frontier, tables, settings)
    refits = ResampledFits(**read_arrays(fit["replicates"]))
    newest = Side(new, refits, today.rules({}))
    if is_of(frontier, today.frontier, fit["model"]):  # the newest fit is in use: its frontier is there
        errors = read_arrays(efficient_replicates)
        known = SharedErrors.read_from(today.frontier, new.model, errors, refits.to_arrays(), today.devices)
        newest = replace(newest, known=known)
    found = Verdict(judged.verdict != KEEP, judged.reasons)
    scores = read_artefact(scored, Scored)
    text = compared(study, read_side(old, today), read_record(old), newest, recorded, today, found, scores)
    write_text(Path(comparison), text)


def is_of(path: str, frontier: Frontier, model: str) -> bool:
    """Say whether the frontier in a file is that of the model in another."""
    return (Path(path).parents[1] / frontier.model_file).resolve() == Path(model).resolve()


def read_side(files: Sequence[str], today: Today) -> Side:
    """Read a kept model from the paths of its files, as one of two that are compared."""
    replicates = next(file for file in files if Path(file).name == FILES["replicates"])
    rules = today.rules(read_record(files).settings)
    return Side(read_kept(files), ResampledFits(**read_arrays(replicates)), rules)


def compared(
    study: str,
    old: Side,
    record: Record,
    new: Side,
    recorded: Mapping[str, Any],
    today: Today,
    verdict: Verdict | None = None,
    scored: Scored | None = None,
    then: str | None = None,
) -> str:
    """Compare two fits and write the text.

    Parameters
    ----------
    study : str
    old : Side
    record : Record
        Of the old model.
    new : Side
    recorded : mapping
        The settings in the new one's record.
    today : Today
    verdict : Verdict, optional
        Unless given, that of the rule on today's drives.
    scored : Scored, optional
        Behind the verdict; None scores the two.
    then : str, optional
        See `write_comparison`.
    """
    golfers, flags = today.settings["adoption"]["golfers"], FlagRules(**today.settings["flags"])
    used = today.drives.usable(speed_of_study(today.drives))
    survey = Survey.of(
        used, today.settings["seed"], number=today.settings["model"]["folds"], regressors=new.fit.model.regressors.names
    )
    reached = today.frontier
    efficient = reached.best_delivery(reached.speed_mph, np.full_like(reached.speed_mph, np.nan))
    changes = setting_changes(record.settings, recorded)
    findings = compare(
        old.fit,
        new.fit,
        form_of(new.fit, survey),
        survey,
        efficient,
        versions_changed(record),
        scored,
        devices=today.devices,
        settings=changes,
    )
    found = verdict or judge(old.fit, new.fit, findings.scored, golfers=golfers)
    basis = today.drives, today.devices, today.roller
    return comparison_text(study, old, new, findings, found, *basis, flags, golfers, then)
