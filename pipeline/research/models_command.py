"""What `yardband models` does: list, show and compare a study's kept models, and keep what a person decides of them.

An edge module: it reads the results of a study and writes decisions.json beside its kept models.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pipeline.benchmark.lookup_command import CALIBRATION, RESULTS, refuse_by_hand
from pipeline.configuration.load import load_study
from pipeline.configuration.study import Study
from pipeline.drives import Drives
from pipeline.edge.artefacts import read_artefact, read_json
from pipeline.edge.files import check_idle, lock_of, read_bytes
from pipeline.edge.kinds_of_results import FRONTIER
from pipeline.edge.tables_file import read_table
from pipeline.errors import UserError
from pipeline.fit.comparison import carry_by
from pipeline.fit.keep_model import open_to_compare, read_kept
from pipeline.fit.kept import (
    FILES,
    check_pinned,
    find_kept,
    kept_files,
    read_decisions,
    versions_changed,
    write_decisions,
)
from pipeline.fit.lineage import UNPIN, Decisions, Pin, Record, choose, decide, find_one, is_adopted
from pipeline.fit.model_changes import ComparedFit
from pipeline.fit.verdict import Choice, ModelVerdict
from pipeline.flight.calibrate import StudyFlight
from pipeline.research.compare_models import Today, compare_sides, read_side
from pipeline.research.models_text import list_text, next_run_text, show_text
from pipeline.tables.figures import Scores

VERDICT = Path("model/verdict.json")
DRIVES = Path("collected/drives.parquet")
DEVICES = Path("flight/devices.json")
TABLES = Path("flight/tables.npz")
REGRESSORS = Path("collected/regressors.parquet")
MOST = 200  # characters of a reason


@dataclass(frozen=True)
class Shelf:
    """A study's kept models, with what people decided of them.

    Attributes
    ----------
    study : Study
    home : Path
        Of the study's results.
    records : list of Record
        Oldest first.
    decisions : Decisions
    newest : str or None
        Id of the newest fit; None where no run judged one yet.
    in_use : str or None
        Id of the model that the last finished run measured golfers with.
    """

    study: Study
    home: Path
    records: list[Record]
    decisions: Decisions
    newest: str | None
    in_use: str | None

    @property
    def folder(self) -> Path:
        """Of the kept models."""
        return self.home / "model" / "kept"

    @property
    def next(self) -> Choice | None:
        """Which model the next run measures golfers with if its fit is that of the last one."""
        if self.newest is None:
            return None
        return choose(self.records, self.decisions, self.newest, self.study.air.model_dump(mode="json"))

    def find(self, given: str) -> Record:
        """Find a kept model by a beginning of its id; raises UserError with the ids that there are."""
        return find_one(self.records, given, str(self.folder))


def open_shelf(study: Path, results: Path | None) -> Shelf:
    """Read a study's kept models.

    Parameters
    ----------
    study : Path
        The study folder, or the `study.yaml` in it.
    results : Path or None
        The study's results; None for those below the working folder.

    Raises
    ------
    UserError
        If the study can't be read or has no kept model yet.
    """
    configured = load_study(study)[1]
    home = RESULTS / configured.study if results is None else results
    folder = home / "model" / "kept"
    records = find_kept(folder)
    if not records:
        refuse_by_hand(home)
        raise UserError(f"{folder}: no model is kept yet; run snakemake --cores 2 --config study={study} first.")
    newest = read_artefact(home / VERDICT, ModelVerdict).id if (home / VERDICT).is_file() else None
    run = home / "run.json"
    in_use = read_json(run)["model"]["id"] if run.is_file() else None
    return Shelf(configured, home, records, read_decisions(folder), newest, in_use)


def about_model(shelf: Shelf, record: Record) -> dict[str, Any]:
    """Give what a list tells of a kept model, as JSON has it."""
    chosen = read_table(str(shelf.folder / record.id / FILES["scores"]), Scores).filter("chosen").row(0, named=True)
    following = shelf.next
    return {
        "number": record.number,
        "id": record.id,
        "parent": record.parent,
        "quarters": record.data.quarters,
        "drives": record.data.drives,
        "golfers": record.data.golfers,
        "candidate": chosen["model"],
        "rmse_yd": chosen["rmse_yd"],
        "verdict": record.verdict,
        "state": "adopted" if is_adopted(record, shelf.decisions) else "refused",
        "decided_by_a_person": record.id in shelf.decisions.decided,
        "because": shelf.decisions.because(record.id),
        "in_use": record.id == shelf.in_use,
        "pinned": shelf.decisions.use is not None and shelf.decisions.use.id == record.id,
        "next": following is not None and following.id == record.id,
    }


def list_models(study: Path, results: Path | None) -> tuple[list[dict[str, Any]], str]:
    """List a study's kept models, for JSON and as text."""
    shelf = open_shelf(study, results)
    found = [about_model(shelf, record) for record in shelf.records]
    return found, list_text(found, shelf.in_use, shelf.next)


def show_model(study: Path, results: Path | None, given: str) -> tuple[dict[str, Any], str]:
    """Show a kept model, for JSON and as text."""
    shelf = open_shelf(study, results)
    record = shelf.find(given)
    card = read_bytes(shelf.folder / record.id / FILES["card"]).decode("utf-8")
    found = {
        **about_model(shelf, record),
        "reasons": record.reasons,
        "fingerprint": record.data.fingerprint,
        "settings": record.settings,
        "versions": record.versions,
        "versions_changed": {name: list(pair) for name, pair in versions_changed(record).items()},
        "folder": str(shelf.folder / record.id),
    }
    return found, show_text(found, card)


def compare_two(study: Path, results: Path | None, old: str, new: str) -> str:
    """Compare two kept models on today's drives, the first as the old one; give the text of a comparison.

    Raises
    ------
    UserError
        If a model isn't there or both are the same, or the study's results aren't whole.
    """
    shelf = open_shelf(study, results)
    before, after = shelf.find(old), shelf.find(new)
    if before.id == after.id:
        raise UserError(f"{old} and {new}: both are {before.id}; name two models.")
    first, second = (sorted(kept_files(shelf.folder, one.id).values()) for one in (before, after))
    settings = shelf.study.model_dump(mode="json", by_alias=True)
    devices, frontier, tables = (str(shelf.home / place) for place in (DEVICES, FRONTIER, TABLES))
    every = _drives_by(shelf, read_kept(first), read_kept(second))
    today = Today.of(every, devices, frontier, tables, settings)
    sides = [read_side(files, today) for files in (first, second)]
    then = "This is what the rule says on today's drives. It changes nothing: adopt, refuse and use do."
    return compare_sides(shelf.study.study, sides[0], before, sides[1], after.settings, today, then=then)


def _drives_by(shelf: Shelf, old: ComparedFit, fit: ComparedFit) -> Drives:
    """Open today's drives with carry at a fit's standard conditions, by its calibration of flight."""
    beside = shelf.home / REGRESSORS
    every = open_to_compare(shelf.home / DRIVES, str(beside) if beside.is_file() else None, (old.model, fit.model))
    today = read_artefact(shelf.home / CALIBRATION, StudyFlight).calibration
    if (today.ball, shelf.study.air) == (fit.calibration.ball, fit.air):
        return every
    return carry_by(every, fit.calibration, fit.speed_ratio, fit.air, fit.grids)


def decide_model(
    study: Path, results: Path | None, given: str, decision: Literal["adopt", "refuse"], because: str | None
) -> str:
    """Adopt or refuse a kept model by a person's word; say what the next run will do.

    Raises
    ------
    UserError
        If there is no such model, no adopted one would be left, or a run is at work on the study.
    """
    shelf = open_shelf(study, results)
    record = shelf.find(given)
    found = decide(shelf.records, shelf.decisions, record, decision, _one_line(because))
    word = "adopted" if decision == "adopt" else "refused"
    same = is_adopted(record, shelf.decisions) == is_adopted(record, found) and found.use == shelf.decisions.use
    return _decided(shelf, found, f"{record.id}: {'already ' if same else ''}{word}.")


def use_model(study: Path, results: Path | None, given: str, because: str | None) -> str:
    """Pin a kept model as the one in use, or unpin it with `newest`; say what the next run will do.

    Raises
    ------
    UserError
        If there is no such model, it is of other standard conditions, or a run is at work on the study.
    """
    shelf = open_shelf(study, results)
    if given == UNPIN:
        if because is not None:
            raise UserError("--because: goes with an id; use newest takes no reason.")
        found = shelf.decisions.model_copy(update={"use": None})
        return _decided(shelf, found, "No model is pinned.")
    pin = Pin(id=shelf.find(given).id, because=_one_line(because))
    found = shelf.decisions.model_copy(update={"use": pin})
    check_pinned(shelf.folder, found, shelf.study.air.model_dump(mode="json"))
    return _decided(shelf, found, f"{pin.id}: pinned.")


def _decided(shelf: Shelf, found: Decisions, said: str) -> str:
    """Write what was decided; give one line that says it and what the next run will do."""
    check_idle(shelf.home, lock_of(shelf.study.study))
    if found != shelf.decisions:
        write_decisions(shelf.folder, found)
    after = Shelf(shelf.study, shelf.home, shelf.records, found, shelf.newest, shelf.in_use)
    return f"{said} {next_run_text(after.in_use, after.next)}"


def _one_line(because: str | None) -> str | None:
    """Give a reason back; refuse one that is no line of text."""
    if because is None:
        return None
    if not (because.isprintable() and because.strip()) or len(because) > MOST:
        raise UserError(f"--because: write one line of at most {MOST} characters.")
    return because.strip().removesuffix(".")
