"""Candidates written as formulas: right sides in patsy's language, such as `bs(ball, df=5) * launch + spin`.

A formula stands in study.yaml, which is data. So it may name the inputs, numbers, arithmetic and a closed list of
functions, and nothing else: what patsy would evaluate is read as a syntax tree first.
"""

import ast
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.drives import Speed
from pipeline.errors import UserError
from pipeline.fit.surface import Extent, Inputs
from pipeline.fit.tabulated import MOST_TERMS, Columns, ends_of, not_finite, sample_of
from pipeline.statistics.arrays import Array

VARIABLES = ("ball", "club", "launch", "spin")
TRANSFORMS = ("bs", "cr", "cc", "te", "center", "standardize", "scale", "I")  # patsy's own
FUNCTIONS = {"log": np.log, "exp": np.exp, "sqrt": np.sqrt, "power": np.power}
LONGEST = 500  # characters
LARGEST = 1e9  # number
MOST_COLUMNS = 20  # of one spline basis
MOST_BASES = 3  # in one te(): more than there are inputs

_OPERATORS = (ast.Add, ast.Sub, ast.Mult, ast.Div, ast.Pow)
_SIZES = ("df", "degree")
# Outer knots may not be moved: beyond them bs() has no value, and they must hold all drives.
_KEYWORDS = (*_SIZES, "x", "knots", "include_intercept", "constraints", "center", "rescale", "ddof")


@dataclass(frozen=True)
class Formula:
    """A candidate's formula that has been read; see `Written`.

    Attributes
    ----------
    name : str
    speed : "ball" or "club"
        Ball where the formula uses it, else club.
    origin : str
        The formula.
    """

    name: str
    speed: Speed
    origin: str

    @classmethod
    def read(cls, name: str, text: str) -> "Formula":
        """Read a formula without evaluating anything.

        Raises
        ------
        UserError
            If it isn't one, or holds what a formula may not.
        """
        used: set[str] = set()
        for code in _factors(name, text):
            here = _checked(name, code)
            if not here:
                raise _wrong(name, f"{code!r} uses no input")
            used |= here
        if not used:
            raise _wrong(name, f"uses none of {', '.join(VARIABLES)}")
        if {"ball", "club"} <= used:
            raise _wrong(name, "uses both ball and club; a candidate goes by one speed")
        return cls(name, "ball" if "ball" in used else "club", text)

    def columns(self, inputs: Inputs) -> Columns:
        """Give the formula's columns; splines, centers and scales are those of `sample_of` these inputs.

        The ends of the grid are part of that sample, so that every point of it is inside the outer knots.
        """
        from patsy.build import build_design_matrices
        from patsy.eval import EvalEnvironment
        from patsy.highlevel import incr_dbuilder
        from patsy.missing import NAAction

        extents = [Extent.of(x) for x in inputs]
        sample = sample_of(extents)
        ends = np.array([ends_of(x) for x in extents])
        memorized = self._data(*(np.append(part, end) for part, end in zip(sample, ends, strict=True)))
        closed, as_is = EvalEnvironment([FUNCTIONS | {"np": _Functions}]), NAAction(NA_types=[])
        with _explained(self.name), np.errstate(all="ignore"):
            design = incr_dbuilder(self.origin, lambda: iter([memorized]), closed, NA_action=as_is)
        if len(design.column_names) > MOST_TERMS:
            raise _wrong(self.name, f"has {len(design.column_names)} terms; {MOST_TERMS} are the most")

        def columns(speed: Array, launch: Array, spin: Array) -> Mapping[str, Array]:
            data = self._data(speed, launch, spin)
            with _explained(self.name), np.errstate(all="ignore"):
                X = np.asarray(build_design_matrices([design], data, NA_action=as_is)[0], dtype=float)
            found = {_label(term): column for term, column in zip(design.column_names, X.T, strict=True)}
            for term, column in found.items():
                if not np.isfinite(column).all():
                    raise _wrong(self.name, not_finite(term, self.speed, extents))
            return found

        return columns

    def _data(self, speed: Array, launch: Array, spin: Array) -> dict[str, Array]:
        return {self.speed: speed, "launch": launch, "spin": spin}


class _Functions:
    """Stands for numpy in a formula, whose functions people write as np.log."""

    log, exp, sqrt, power = (staticmethod(each) for each in FUNCTIONS.values())


class _explained:  # noqa: N801 - used as a function is
    """Turns what patsy finds wrong with a formula into a sentence."""

    def __init__(self, name: str) -> None:
        self.name = name

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: Any, error: BaseException | None, trace: Any) -> None:
        if isinstance(error, Exception) and not isinstance(error, UserError):
            raise _wrong(self.name, _first_line(error)) from None


def _first_line(error: Exception) -> str:
    text = (str(getattr(error, "message", "") or error).strip() or type(error).__name__).splitlines()[0]
    text = re.sub(r"np\.float64\(([^)]*)\)", r"\1", text)
    return re.sub(r"^Error evaluating factor: |\b\w+Error: ", "", text).rstrip(".!")


def _wrong(name: str, what: str) -> UserError:
    return UserError(f"model.formulas.{name} in study.yaml: {what}; correct the formula.")


def _label(term: str) -> str:
    return "intercept" if term == "Intercept" else term


def _factors(name: str, text: str) -> list[str]:
    """List the pieces of Python in a formula, which patsy would evaluate."""
    from patsy.desc import ModelDesc

    if len(text) > LONGEST:
        raise _wrong(name, f"has {len(text)} characters; {LONGEST} are the most")
    try:
        with _explained(name):
            found = ModelDesc.from_formula(text)
    except RecursionError:
        raise _wrong(name, "has too many brackets inside each other") from None
    if found.lhs_termlist:
        raise _wrong(name, "has a left side; write only what stands right of ~")
    if not found.rhs_termlist:
        raise _wrong(name, "has no terms")
    return sorted({factor.code for term in found.rhs_termlist for factor in term.factors})


def _checked(name: str, code: str) -> set[str]:
    """Give the inputs that a piece of Python uses; refuse all but inputs, numbers, arithmetic and the functions."""
    try:
        tree = ast.parse(code, mode="eval")
    except (SyntaxError, ValueError):
        raise _wrong(name, f"{code!r} isn't an expression") from None
    return _used(name, tree.body, code)


def _used(name: str, node: ast.expr, code: str) -> set[str]:
    if isinstance(node, ast.Name):
        if node.id not in VARIABLES:
            raise _wrong(name, f"{node.id!r} isn't known; a formula may use {', '.join(VARIABLES)}")
        return {node.id}
    if isinstance(node, ast.BinOp) and isinstance(node.op, _OPERATORS):
        found = _used(name, node.left, code) | _used(name, node.right, code)
        if found:  # of numbers alone a power may be too large to be worked out
            return found
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.UAdd):
        return _used(name, node.operand, code)
    if isinstance(node, ast.Constant) and _is_number(node.value):
        return set()
    if isinstance(node, ast.List | ast.Tuple):
        return set().union(*(_used(name, each, code) for each in node.elts))
    if isinstance(node, ast.Call):
        return _called(name, node, code)
    raise _wrong(name, f"{ast.unparse(node)!r} in {code!r} can't be used; {_MAY}")


_MAY = (
    "a formula may hold ball or club, launch, spin, numbers, arithmetic of an input, and "
    f"{', '.join((*TRANSFORMS, *FUNCTIONS))}"
)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= LARGEST


def _called(name: str, node: ast.Call, code: str) -> set[str]:
    """Check a call of one of the functions."""
    called = node.func
    of_numpy = isinstance(called, ast.Attribute) and isinstance(called.value, ast.Name) and called.value.id == "np"
    function = called.attr if isinstance(called, ast.Attribute) else called.id if isinstance(called, ast.Name) else ""
    known = FUNCTIONS if of_numpy else () if isinstance(called, ast.Attribute) else (*TRANSFORMS, *FUNCTIONS)
    if function not in known:
        raise _wrong(name, f"{ast.unparse(called)!r} can't be called; {_MAY}")
    if function == "te" and len(node.args) > MOST_BASES:
        raise _wrong(name, f"{ast.unparse(node)!r} joins more than {MOST_BASES} bases")
    found = set().union(*(_used(name, each, code) for each in node.args))
    sizes = node.args[1:2] if function in ("bs", "cr", "cc") else []
    for each in node.keywords:
        if function in FUNCTIONS or each.arg not in _KEYWORDS:
            raise _wrong(name, f"{ast.unparse(node)!r} can't have {each.arg}=")
        sizes += [each.value] if each.arg in _SIZES else []
        plain = isinstance(each.value, ast.Constant) and isinstance(each.value.value, bool | str)
        found |= set() if plain else _used(name, each.value, code)
    for size in sizes:
        if not isinstance(size, ast.Constant) or type(size.value) is not int or size.value > MOST_COLUMNS:
            raise _wrong(name, f"{ast.unparse(node)!r} must ask for a whole number of columns, {MOST_COLUMNS} at most")
    return found
