"""What came of a new fit, and which model a run measures golfers with."""

from dataclasses import dataclass

from pipeline.fit.model import FittedOn


@dataclass(frozen=True)
class ModelVerdict:
    """verdict.json: what came of comparing a fit with the kept model before it.

    Attributes
    ----------
    id : str
        Of the fit.
    parent : str or None
        Id of the kept model; None for a study's first fit.
    verdict : {"first", "adopt", "keep"}
    reasons : tuple of str
    """

    id: str
    parent: str | None
    verdict: str
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class ModelInUse:
    """Which model golfers are measured with.

    Attributes
    ----------
    id : str
    kept : bool
        Whether it is a kept model; else the newest fit.
    fitted_on : FittedOn
    verdict, held_against : str or None
        Of the newest fit: see `ModelVerdict`.
    """

    id: str
    kept: bool
    fitted_on: FittedOn
    verdict: str | None = None
    held_against: str | None = None
