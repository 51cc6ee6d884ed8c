"""Reading and checking `study.yaml` and layouts: everything that is wrong is listed at once (an edge module)."""

import unicodedata
from collections.abc import Sequence
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from pipeline.configuration.layouts import Layout
from pipeline.configuration.sentences import common, line_of, sentence
from pipeline.configuration.study import Study
from pipeline.configuration.yaml_file import read_yaml
from pipeline.errors import UserError

Model = TypeVar("Model", bound=BaseModel)
AnyLayout = TypeVar("AnyLayout", bound=Layout)


def load_study(place: Path) -> tuple[Path, Study]:
    """Read and check a study's configuration.

    Parameters
    ----------
    place : Path
        The study folder, or the `study.yaml` in it.

    Returns
    -------
    tuple of Path and Study
        The study folder and its configuration.

    Raises
    ------
    UserError
        If the file is missing, is not YAML, or breaks the model; every problem is listed, a line each.
    """
    if any(unicodedata.category(sign) in ("Cc", "Cs") for sign in str(place)):
        raise UserError(f"{str(place)!a}: this path holds what isn't text, so it can't be shown; rename the folder.")
    try:
        folder = place.parent if place.is_file() else place
    except OSError as error:
        raise UserError(f"{place}: can't be read ({error.strerror}); correct the path.") from None
    path = place if folder is not place else place / "study.yaml"
    return folder, _load(path, Study)


def load_layout(path: Path, model: type[AnyLayout], regressors: Sequence[str] = ()) -> AnyLayout:
    """Read and check a layout file of a shot log or a speed log; raises UserError as `load_study` does.

    Beside the standard columns it may map `regressors`.
    """
    return _load(path, model, {"regressors": tuple(regressors)})


def _load(path: Path, model: type[Model], context: dict[str, Any] | None = None) -> Model:
    study = model is Study
    raw, lines = read_yaml(
        path, "give the path of a folder with a study.yaml" if study else "correct the path after 'layout:'"
    )
    if not isinstance(raw, dict):
        needed = " and ".join(f"'{name}:'" for name, one in model.model_fields.items() if one.is_required())
        found = "a list" if isinstance(raw, list) else "text" if isinstance(raw, str) else "no keys"
        raise UserError(f"{path}: holds {found}{'' if found == 'no keys' else ', not keys'}; write at least {needed}.")
    try:
        return model.model_validate(raw, context=context)
    except ValidationError as error:
        errors: list[dict[str, Any]] = [{**e} for e in error.errors()]
        # A list whose items failed is also reported as too short; the items' own errors say enough.
        told = [e for e in errors if not any(len(o["loc"]) > len(e["loc"]) == len(common(o, e)) for o in errors)]
        raise UserError("\n".join(f"{path}: {line_of(lines, e)}{sentence(model, e)}" for e in told)) from None
