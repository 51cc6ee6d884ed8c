"""Candidates in Python files of a study folder: finding, reading and running them (an edge module).

Such a file says NAME and SPEED and has a function terms(speed, launch, spin). It is Python that runs with the rights
of whoever runs the study.
"""

import ast
import traceback
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import CodeType
from typing import Any

import numpy as np

from pipeline.configuration.sentences import nearest
from pipeline.configuration.study import BUILT_IN, Study
from pipeline.drives import Speed
from pipeline.edge.small_files import read_small
from pipeline.errors import UserError
from pipeline.fit.formulas import Formula
from pipeline.fit.surface import Extent, Inputs
from pipeline.fit.tabulated import Columns, Written, name_fault, not_finite
from pipeline.statistics.arrays import Array

TOGETHER = 1e-9  # of a term's size: a drive's value may not depend on the drives beside it by more


def find_own(folder: Path, study: Study) -> list[str]:
    """List the paths of a study's own candidates, and see that they and the formulas can be read; nothing is run.

    Raises
    ------
    UserError
        If `survey_written` finds a problem; every problem is listed, a line each.
    """
    found, problems = survey_written(folder, study)
    if problems:
        raise UserError("\n".join(problems))
    return found


def survey_written(folder: Path, study: Study) -> tuple[list[str], list[str]]:
    """List the paths of own candidates that can be read, and what is wrong with other files and with formulas."""
    problems: list[str] = []
    found: list[str] = []
    names: list[str] = [*BUILT_IN]
    for name, text in study.model.formulas.items():
        try:
            read_formula(name, text, names)
        except UserError as error:
            problems.append(str(error))
        names.append(name)
    for index, own in enumerate(study.model.own):
        if Path(own).is_absolute() or ".." in Path(own).parts:
            key = f"{folder / 'study.yaml'}: model.own[{index}]"
            problems.append(f"{key}: {own!r} leaves the study folder; name files inside it.")
            continue
        try:
            names.append(_Source.read(folder / own, names).name)
            found.append(str(folder / own))
        except UserError as error:
            problems.append(str(error))
    choose = study.model.choose
    if choose is not None and not problems and choose not in names:
        problems.append(
            f"{folder / 'study.yaml'}: model.choose: there is no candidate {choose!r}{nearest(choose, names)}; "
            f"there are {', '.join(names)}."
        )
    return found, problems


def read_written(formulas: Mapping[str, str], own: Sequence[str]) -> list[Written]:
    """Read a study's formulas and its own files, which are run; UserError says what is wrong with one."""
    names: list[str] = [*BUILT_IN]
    found: list[Written] = []
    for name, text in formulas.items():
        found.append(read_formula(name, text, names))
        names.append(name)
    for path in own:
        source = _Source.read(Path(path), names)
        found.append(source.run())
        names.append(source.name)
    return found


def read_formula(name: str, text: str, taken: Sequence[str]) -> Formula:
    """Read a formula whose name isn't taken."""
    fault = name_fault(name, taken)
    if fault:
        raise UserError(f"model.formulas in study.yaml: the name {name!r} {fault}.")
    return Formula.read(name, text)


@dataclass(frozen=True)
class _Source:
    """An own file that was read and can be run."""

    path: Path
    code: CodeType
    name: str
    speed: Speed
    terms_line: int

    @classmethod
    def read(cls, path: Path, taken: Sequence[str]) -> "_Source":
        """Read a file without running it."""
        try:
            text = read_small(path, "there is no such file; correct model.own in study.yaml.")
            tree = ast.parse(text, str(path))
            code = compile(tree, str(path), "exec")
        except (SyntaxError, ValueError, RecursionError, MemoryError) as error:
            line, what = getattr(error, "lineno", None) or 1, getattr(error, "msg", error)
            raise UserError(f"{path}, line {line}: isn't valid Python ({what}); correct it.") from None
        name, line = _word(path, tree, "NAME", 'NAME = "curved"')
        fault = name_fault(name, taken)
        if fault:
            raise UserError(f"{path}, line {line}: the name {name!r} {fault}.")
        speed, line = _word(path, tree, "SPEED", 'SPEED = "ball" or SPEED = "club"')
        if speed not in ("ball", "club"):
            raise UserError(f'{path}, line {line}: SPEED is {speed!r}; write "ball" or "club".')
        defined = [one for one in tree.body if isinstance(one, ast.FunctionDef) and one.name == "terms"]
        if not defined:
            raise UserError(f"{path}: has no function terms; write def terms(speed, launch, spin).")
        return cls(path, code, name, speed, defined[-1].lineno)  # type: ignore[arg-type]

    def run(self) -> "OwnCandidate":
        """Run the file."""
        space: dict[str, Any] = {"__name__": self.path.stem, "__file__": str(self.path)}
        try:
            exec(self.code, space)
        except (Exception, SystemExit) as error:  # noqa: BLE001 - whatever it is, it's told with its line
            raise told_at(self.path, error) from None
        return OwnCandidate(self.name, self.speed, str(self.path), space["terms"], self.terms_line)


def _word(path: Path, tree: ast.Module, name: str, example: str) -> tuple[str, int]:
    """Give the text that a file gives a name at its top level, and its line."""
    for one in tree.body:
        if isinstance(one, ast.Assign) and any(isinstance(to, ast.Name) and to.id == name for to in one.targets):
            if isinstance(one.value, ast.Constant) and isinstance(one.value.value, str):
                return one.value.value, one.lineno
            raise UserError(f"{path}, line {one.lineno}: {name} must be a text in quotes, such as {example}.")
    raise UserError(f"{path}: has no {name}; write {example} at its top.")


def told_at(path: Path, error: BaseException) -> UserError:
    """Say in a sentence what an own file raised, and in which of its lines."""
    lines = [frame.lineno for frame in traceback.extract_tb(error.__traceback__) if frame.filename == str(path)]
    what = " ".join(f"{type(error).__name__}: {error}".split()).rstrip(":. ")
    return UserError(f"{path}, line {lines[-1] if lines else 1}: {what}; correct the file.")


@dataclass(frozen=True)
class OwnCandidate:
    """A candidate in a file; see `Written`.

    Attributes
    ----------
    name : str
    speed : "ball" or "club"
    origin : str
        Path of the file.
    terms : callable
        As the file has it.
    line : int
        Where it stands.
    """

    name: str
    speed: Speed
    origin: str
    terms: Any
    line: int

    def columns(self, inputs: Inputs) -> Columns:
        """Give the file's terms, each checked: an array of finite numbers, one for each drive, whatever the others."""
        extents = [Extent.of(x) for x in inputs]

        def columns(speed: Array, launch: Array, spin: Array) -> Mapping[str, Array]:
            found = self._called(speed, launch, spin)
            for name, values in found.items():
                if not np.isfinite(values).all():
                    raise self._wrong(not_finite(f"the term {name!r}", self.speed, extents))
            some = slice(len(speed) // 2, None, -1)  # fewer drives, in another order
            for name, values in self._called(speed[some], launch[some], spin[some]).items():
                if name not in found or np.max(np.abs(values - found[name][some])) > TOGETHER * np.max(np.abs(values)):
                    raise self._wrong(f"the term {name!r} depends on which drives are asked about together")
            return found

        return columns

    def _called(self, speed: Array, launch: Array, spin: Array) -> dict[str, Array]:
        try:
            with np.errstate(all="ignore"):
                found = self.terms(speed.copy(), launch.copy(), spin.copy())
        except (Exception, SystemExit) as error:  # noqa: BLE001 - whatever it is, it's told with its line
            raise told_at(Path(self.origin), error) from None
        if not isinstance(found, dict) or not all(isinstance(name, str) and name.strip() for name in found):
            raise self._wrong("terms must give a dict of arrays by name")
        return {" ".join(name.split()): self._checked(name, values, len(speed)) for name, values in found.items()}

    def _checked(self, name: str, values: Any, count: int) -> Array:
        try:
            column = np.asarray(values, dtype=float)
        except (TypeError, ValueError):
            raise self._wrong(f"the term {name!r} isn't an array of numbers") from None
        if column.shape != (count,):
            shape = "a single number" if column.ndim == 0 else f"of shape {column.shape}"
            raise self._wrong(f"the term {name!r} is {shape} for {count} drives, where ({count},) is due")
        return column

    def _wrong(self, what: str) -> UserError:
        return UserError(f"{self.origin}, line {self.line}: {what}; correct the file.")
