"""The kept models of a study: folders `model/kept/<id>/`, each written whole or not at all (an edge module)."""

import hashlib
import platform
import re
import shutil
from collections.abc import Mapping, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from pipeline.configuration.study import StandardAir
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.files import whole_folder, write_json
from pipeline.edge.made_by import own_version
from pipeline.errors import UserError
from pipeline.fit.lineage import Data, Decisions, Record, choose, parent_of
from pipeline.fit.model import FittedModel
from pipeline.fit.verdict import Choice, ModelInUse, ModelVerdict

# What a kept folder holds beside its record: what benchmarks and the page take of a fit, by the rules' names for it.
FILES = {
    "model": "model.json",
    "coefficients": "coefficients.csv",
    "scores": "scores.csv",
    "card": "card.md",
    "typical": "typical.parquet",
    "replicates": "replicates.npz",
    "calibration": "calibration.json",
    "calibrations": "calibrations.csv",
}
RECORD = "record.json"
DECISIONS = "decisions.json"  # beside the folders

# Texts with full floats: every drive of a fit moves them. The others follow from them, or only describe the model.
TELLING = ("model", "coefficients", "scores", "calibration")

# Begins with a letter, so that no id can be taken for a number on Snakemake's command line.
ID = re.compile(r"k[0-9a-f]{12}")

PACKAGES = ("polars", "numpy", "scipy", "statsmodels", "duckdb", "dataframely", "snakemake", "seaborn")


def model_in_use(choice: Mapping[str, Any], model: str, which: str) -> ModelInUse:
    """Read what there is to say of the model that golfers are measured with.

    Parameters
    ----------
    choice : mapping
        The keys of `Choice`.
    model : str
        Path of the model.
    which : str
        Path of the newest fit's verdict.json; another file where the run judges none.
    """
    on, chosen = read_artefact(model, FittedModel).fitted_on, Choice(**choice)
    if chosen.newest is None:
        return ModelInUse(chosen, on)
    found = read_artefact(which, ModelVerdict)
    return ModelInUse(chosen, on, found.verdict, found.parent)


def package_versions() -> dict[str, str]:
    """Give the versions of Python and of the packages that figures depend on."""
    ours = {"python": platform.python_version(), "yardband": own_version()}
    return ours | {name: version(name) for name in PACKAGES}


def model_id(files: Mapping[str, str | Path]) -> str:
    """Name a fit by its content: the same input gives the same id.

    Parameters
    ----------
    files : mapping of str to path
        The fit's files by the names of `FILES`; those of `TELLING` are read.

    Returns
    -------
    str
        k and 12 hexadecimal digits.
    """
    digest = hashlib.sha256()
    for name in TELLING:
        digest.update(hashlib.sha256(Path(files[name]).read_bytes()).digest())
    return f"k{digest.hexdigest()[:12]}"


def find_kept(folder: Path) -> list[Record]:
    """List the kept models of a study, oldest first.

    Raises
    ------
    UserError
        If a kept folder lacks a file or its record can't be read.
    """
    if not folder.is_dir():
        return []
    places = sorted(place for place in folder.iterdir() if ID.fullmatch(place.name))
    return sorted((_read(place) for place in places), key=lambda record: (record.number, record.id))


def _read(place: Path) -> Record:
    lacking = [name for name in (*FILES.values(), RECORD) if not (place / name).is_file()]
    if lacking:
        raise UserError(f"{place}: the kept model lacks {lacking[0]}; put the file back or remove the whole folder.")
    try:
        return Record.model_validate_json((place / RECORD).read_bytes())
    except ValidationError:
        raise UserError(f"{place / RECORD}: isn't the record of a kept model; remove the whole folder.") from None


def check_kept(folder: Path) -> None:
    """See that this version can use every kept model, before any work is done.

    Raises
    ------
    UserError
        If a kept folder lacks a file, or its record or model isn't of the form that this version writes.
    """
    unfit = [record.id for record in find_kept(folder) if not _is_readable(folder / record.id / FILES["model"])]
    if unfit:
        raise UserError(
            f"{folder}: this version of Yardband can't use {', '.join(unfit)} (kept by another version, or damaged); "
            "remove what is named and run again."
        )


def _is_readable(model: Path) -> bool:
    try:
        read_artefact(model, FittedModel)
    except UserError:
        return False
    return True


def record_of(judged: ModelVerdict, data: Data, settings: dict[str, Any], records: Sequence[Record]) -> Record:
    """Describe a fit that was judged; `records` are those of the models kept before."""
    number = 1 + max((record.number for record in records), default=0)
    return Record(
        id=judged.id,
        number=number,
        parent=judged.parent,
        verdict=judged.verdict,
        reasons=[*judged.reasons],
        data=data,
        settings=settings,
        versions=package_versions(),
    )


def versions_changed(record: Record) -> dict[str, tuple[str, str]]:
    """List the packages whose version is another than when a model was kept: name to (then, now)."""
    then = record.versions
    return {name: (then.get(name, "none"), v) for name, v in package_versions().items() if then.get(name) != v}


def read_decisions(folder: Path) -> Decisions:
    """Read what people decided of a study's kept models; nothing where there is no such file.

    Raises
    ------
    UserError
        If the file isn't what `yardband models` writes.
    """
    path = folder / DECISIONS
    if not path.is_file():
        return Decisions()
    try:
        return Decisions.model_validate_json(path.read_bytes())
    except ValidationError:
        raise UserError(
            f"{path}: isn't what yardband models writes; put an earlier copy back, or remove the file to forget all "
            "decisions."
        ) from None


def write_decisions(folder: Path, decisions: Decisions) -> None:
    """Write what people decided of a study's kept models, whole or not at all."""
    write_json(folder / DECISIONS, decisions.model_dump(mode="json"))


def parent_files(folder: Path, decisions: Decisions, fit: Mapping[str, str | Path]) -> list[str]:
    """List the files of the kept model that a fit is compared with; none for a first fit."""
    parent = parent_of(find_kept(folder), decisions, model_id(fit))
    return sorted(kept_files(folder, parent).values()) if parent else []


def choose_in_use(folder: Path, decisions: Decisions, verdict: str, air: Mapping[str, float]) -> Choice:
    """Choose the model that golfers are measured with; see `pipeline.fit.lineage.choose`.

    Parameters
    ----------
    folder : Path
        Of the study's kept models.
    decisions : Decisions
    verdict : str
        Path of the newest fit's verdict.json.
    air : mapping
        The study's standard conditions now.
    """
    return choose(find_kept(folder), decisions, read_artefact(verdict, ModelVerdict).id, air)


def kept_files(folder: Path, kept: str) -> dict[str, str]:
    """Give the paths of a kept model's files by the names of `FILES`, and `record`."""
    return {name: str(folder / kept / file) for name, file in {**FILES, "record": RECORD}.items()}


def choose_kept(folder: Path, kept: str, air: Mapping[str, float]) -> dict[str, str]:
    """Give the files of the kept model that a user names by `model=`.

    Parameters
    ----------
    folder : Path
        Of the study's kept models.
    kept : str
        The id as given.
    air : mapping
        The study's standard conditions now: temp_c, pressure_hpa, humidity.

    Returns
    -------
    dict of str to str
        See `kept_files`.

    Raises
    ------
    UserError
        If there is no such model, or it speaks of other standard conditions than the study's.
    """
    records = {record.id: record for record in find_kept(folder)}
    if kept not in records:
        there = f"there are {', '.join(records)}" if records else "none is kept yet; run snakemake without model= first"
        raise UserError(f"model={kept}: {folder} holds no model of this id; {there}.")
    _check_air(records[kept], air, f"model={kept}", "leave model= out")
    return kept_files(folder, kept)


def check_pinned(folder: Path, decisions: Decisions, air: Mapping[str, float]) -> None:
    """See that the pinned model, if there is one, is kept and speaks of the study's standard conditions.

    Raises
    ------
    UserError
        If it isn't or doesn't.
    """
    if decisions.use is None:
        return
    place, instead = folder / decisions.use.id, "give yardband models STUDY use newest"
    if not place.is_dir():
        raise UserError(f"{place}: the pinned model isn't kept any more; put its folder back, or {instead}.")
    _check_air(_read(place), air, str(place), instead)


def _check_air(record: Record, air: Mapping[str, float], what: str, instead: str) -> None:
    then = record.settings["air"]
    if then != dict(air):
        was, now = StandardAir.model_validate(then), StandardAir.model_validate(air)
        raise UserError(
            f"{what}: was fitted to standard conditions of {was.text}, the study now has {now.text}; "
            f"set the key air of study.yaml back, or {instead}."
        )


def keep(folder: Path, record: Record, files: Mapping[str, str]) -> None:
    """Keep a fit under its id, whole or not at all.

    One that is kept already stays as it is, but for its verdict: it may have been judged again by another rule.

    Parameters
    ----------
    folder : Path
        Of the study's kept models.
    record : Record
    files : mapping of str to str
        Paths of the fit's files by the names of `FILES`.
    """
    place = folder / record.id
    if place.exists():
        known = _read(place)
        judged = known.model_copy(update={"verdict": record.verdict, "reasons": record.reasons})
        if judged != known:
            write_json(place / RECORD, judged.model_dump(mode="json"))
        return
    with whole_folder(place) as part:
        for name, file in FILES.items():
            shutil.copyfile(files[name], part / file)
        write_json(part / RECORD, record.model_dump(mode="json"))
