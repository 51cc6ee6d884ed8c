"""Step: write the comparison of the newest fit with the kept model that judged it, in words and tables.

In: drives.parquet, the files of the fit and of flight's calibration, those of the kept model that the fit is compared
with (none for the first), verdict.json and held_against.json of the judgement, frontier.json and
efficient.npz and efficient_replicates.npz of the model in use, tables.npz, devices.json, and grids.npz of
flight. Out: comparison.md, and compared.npz: what is efficient by both models, for the next comparison.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.benchmark.efficient_arrays import efficient_from_arrays, efficient_to_arrays
from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.published import BenchmarkRules
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.drives import Drives, speed_of_study
from pipeline.edge.artefacts import read_arrays, read_artefact, read_stamped, stamp_of, write_stamped
from pipeline.edge.files import write_text
from pipeline.fit.comparison import Scored, Verdict, judge
from pipeline.fit.comparison_text import write_first
from pipeline.fit.findings import compare
from pipeline.fit.keep_model import form_of, open_to_compare, read_fitted, read_grids, read_kept, read_record
from pipeline.fit.kept import FILES, versions_changed
from pipeline.fit.lineage import Record
from pipeline.fit.model_changes import ComparedFit
from pipeline.fit.resampled import ResampledFits
from pipeline.fit.setting_changes import setting_changes
from pipeline.fit.survey import Survey
from pipeline.fit.verdict import KEEP, ModelVerdict
from pipeline.flight.devices import StudyDevices
from pipeline.flight.standard import StudyTables
from pipeline.golfers.flags import FlagRules
from pipeline.golfers.shared_errors import SharedErrors
from pipeline.physics.turf import FIRMNESS
from pipeline.research.flag_changes import efficient_of
from pipeline.research.model_comparison import Side, comparison_text
from pipeline.statistics.arrays import flattened, grouped, plain_values


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


@dataclass(frozen=True)
class Known:
    """What this run and the last comparison know of models.

    Attributes
    ----------
    today : Today
    frontier, efficient, efficient_replicates : str
        Paths of what `build_bands` wrote of the model in use.
    before : mapping of str to mapping of str to ndarray
        What is efficient by models of the last comparison, by a stamp of what it follows from.
    """

    today: Today
    frontier: str
    efficient: str
    efficient_replicates: str
    before: Mapping[str, Mapping[str, Any]]

    def side(self, fit: ComparedFit, files: Mapping[str, str], rules: BenchmarkRules) -> Side:
        """Give a model, whose files are named as in `FILES`, with what is efficient by it."""
        today, refits = self.today, ResampledFits(**read_arrays(files["replicates"]))
        stamp = stamp_of([files[name] for name in ("model", "typical", "replicates")], plain_values(rules))
        side = Side(fit, refits, rules, stamp=stamp)
        in_use = is_of(self.frontier, today.frontier, files["model"]) and rules == today.rules({})
        arrays = read_arrays(self.efficient) if in_use else self.before.get(stamp, {})
        if "speed_mph" in arrays:  # there may be none
            print(f"Efficient carry by {fit.id} is taken from {'this run' if in_use else 'the last comparison'}.")
            return replace(side, efficient=efficient_from_arrays(arrays))
        return replace(side, efficient=efficient_of(side.publisher, today.roller))

    def kept(self, fit: ComparedFit, files: Sequence[str]) -> Side:
        """Give a kept model by the paths of its files."""
        return self.side(fit, _named(files), self.today.rules(read_record(files).settings))

    def newest(self, fit: ComparedFit, files: Mapping[str, str]) -> Side:
        """Give the newest fit; if it is in use, its frontier on today's drives is there."""
        side, today = self.side(fit, files, self.today.rules({})), self.today
        if not is_of(self.frontier, today.frontier, files["model"]):
            return side
        errors = read_arrays(self.efficient_replicates)
        known = SharedErrors.read_from(today.frontier, fit.model, errors, side.refits.to_arrays(), today.devices)
        return replace(side, known=known)


def run(
    drives: str,
    tables: str,
    devices: str,
    frontier: str,
    efficient: str,
    efficient_replicates: str,
    old: Sequence[str],
    verdict: str,
    scored: str,
    grids: str,
    comparison: str,
    compared: str,
    study: str,
    settings: dict[str, Any],
    recorded: dict[str, Any],
    beside: str | None = None,
    flight: str = "",
    code: str = "",
    **fit: str,
) -> None:
    """Run the step; see the module's docstring.

    `fit` names files as `FILES` does; `recorded` are its record's settings; `flight` and `code` are digests of code.
    """
    judged, before = read_artefact(verdict, ModelVerdict), grouped(read_stamped(Path(compared), code))
    new = read_fitted(fit, judged.id, settings["air"], read_artefact(devices, StudyDevices).reference)
    kept = [] if judged.parent is None else [replace(read_kept(old), grids=read_grids(grids, flight))]
    every = open_to_compare(Path(drives), beside, [one.model for one in (*kept, new)])
    today = Today.of(every, devices, frontier, tables, settings)
    known = Known(today, frontier, efficient, efficient_replicates, before)
    sides = [*(known.kept(one, old) for one in kept), known.newest(new, fit)]
    if judged.parent is None:
        text = write_first(study, new, judged.lost_parent)
    else:
        judgement = Verdict(judged.verdict != KEEP, judged.reasons), read_artefact(scored, Scored)
        text = compare_sides(study, sides[0], read_record(old), sides[1], recorded, today, *judgement)
    write_text(Path(comparison), text)
    _write_efficient(Path(compared), sides, code)


def _write_efficient(path: Path, sides: Sequence[Side], code: str) -> None:
    """Keep what is efficient by both: with either of the two the next fit may be compared."""
    write_stamped(path, flattened({side.stamp: efficient_to_arrays(side.efficient) for side in sides}), code)


def _named(files: Sequence[str]) -> dict[str, str]:
    """Name a kept model's files as `FILES` does."""
    by_name = {Path(file).name: file for file in files}
    return {name: by_name[file] for name, file in FILES.items()}


def is_of(path: str, frontier: Frontier, model: str) -> bool:
    """Say whether the frontier in a file is that of the model in another."""
    return (Path(path).parents[1] / frontier.model_file).resolve() == Path(model).resolve()


def read_side(files: Sequence[str], today: Today) -> Side:
    """Read a kept model from the paths of its files, as one of two that are compared."""
    replicates = next(file for file in files if Path(file).name == FILES["replicates"])
    rules = today.rules(read_record(files).settings)
    return Side(read_kept(files), ResampledFits(**read_arrays(replicates)), rules)


def compare_sides(
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
