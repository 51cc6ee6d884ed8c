"""The kept models of a study: folders `model/kept/<id>/`, each written whole or not at all (an edge module)."""

import hashlib
import platform
import re
import shutil
from collections.abc import Mapping, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError

from pipeline.configuration.study import StandardAir
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.files import whole_folder, write_json
from pipeline.edge.made_by import own_version
from pipeline.errors import UserError
from pipeline.fit.model import FittedModel
from pipeline.fit.verdict import ModelInUse, ModelVerdict

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

# Texts with full floats: every drive of a fit moves them. The others follow from them, or only describe the model.
TELLING = ("model", "coefficients", "scores", "calibration")

# Begins with a letter, so that no id can be taken for a number on Snakemake's command line.
ID = re.compile(r"k[0-9a-f]{12}")

PACKAGES = ("polars", "numpy", "scipy", "statsmodels", "duckdb", "dataframely", "snakemake", "seaborn")


class Data(BaseModel):
    """What a kept model was fitted on: fingerprint of the drives, quarters, and counts."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    fingerprint: str
    quarters: list[str]
    drives: int
    golfers: int


class Record(BaseModel):
    """record.json of a kept model; `number` counts a study's kept models, `parent` is the one it was held against."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: str
    number: int
    parent: str | None
    verdict: str
    data: Data
    settings: dict[str, Any]
    versions: dict[str, str]


def model_in_use(which: str, model: str, *, kept: bool) -> ModelInUse:
    """Read which model golfers are measured with.

    Parameters
    ----------
    which : str
        Path of a kept model's record.json or of the newest fit's verdict.json.
    model : str
        Path of the model.
    kept : bool
        Whether it is a kept model.
    """
    on = read_artefact(model, FittedModel).fitted_on
    if kept:
        return ModelInUse(read_artefact(which, Record).id, True, on)
    found = read_artefact(which, ModelVerdict)
    return ModelInUse(found.id, False, on, found.verdict, found.parent)


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


def find_parent(folder: Path, fitted: str) -> str | None:
    """Give the id of the kept model that a fit is held against, or None where there is none.

    A fit that is kept already stays with the one it was held against then, so that doing it again gives the same.
    """
    records = find_kept(folder)
    ids = [record.id for record in records]
    if fitted in ids:
        parent = records[ids.index(fitted)].parent
        return parent if parent in ids else None
    return ids[-1] if ids else None


def lost_parent(records: Sequence[Record], fitted: str) -> str | None:
    """Give the parent that a kept fit has in its record, or None for a fit that isn't kept or had none."""
    return next((record.parent for record in records if record.id == fitted), None)


def record_of(
    fitted: str, parent: str | None, verdict: str, data: Data, settings: dict[str, Any], records: Sequence[Record]
) -> Record:
    """Describe an adopted fit by its id; `records` are those of the models kept before."""
    number = 1 + max((record.number for record in records), default=0)
    return Record(
        id=fitted,
        number=number,
        parent=parent,
        verdict=verdict,
        data=data,
        settings=settings,
        versions=package_versions(),
    )


def versions_changed(record: Record) -> dict[str, tuple[str, str]]:
    """List the packages whose version is another than when a model was kept: name to (then, now)."""
    then = record.versions
    return {name: (then.get(name, "none"), v) for name, v in package_versions().items() if then.get(name) != v}


def parent_files(folder: Path, fit: Mapping[str, str | Path]) -> list[str]:
    """List the files of the kept model that a fit is compared with; none for a first fit."""
    parent = find_parent(folder, model_id(fit))
    return sorted(kept_files(folder, parent).values()) if parent else []


def kept_files(folder: Path, kept: str) -> dict[str, str]:
    """Give the paths of a kept model's files by the names of `FILES`, and `record`."""
    return {name: str(folder / kept / file) for name, file in {**FILES, "record": RECORD}.items()}


def choose_kept(folder: Path, kept: str, air: Mapping[str, float]) -> dict[str, str]:
    """Give the files of the kept model that a user names.

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
    then = records[kept].settings["air"]
    if then != dict(air):
        was, now = StandardAir.model_validate(then), StandardAir.model_validate(air)
        raise UserError(
            f"model={kept}: was fitted to standard conditions of {was.text}, the study now has {now.text}; "
            "set the key air of study.yaml back, or leave model= out."
        )
    return kept_files(folder, kept)


def keep(folder: Path, record: Record, files: Mapping[str, str]) -> None:
    """Keep a fit under its id, whole or not at all; one that is kept already stays as it is.

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
        return
    with whole_folder(place) as part:
        for name, file in FILES.items():
            shutil.copyfile(files[name], part / file)
        write_json(part / RECORD, record.model_dump(mode="json"))
