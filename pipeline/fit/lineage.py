"""Kept models as a lineage: which are adopted, which is the parent of a new fit, which one golfers are measured with.

A fit is adopted or refused by its comparison, and a person may decide otherwise. The adopted ones, oldest first, are
the lineage.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict

from pipeline.errors import UserError
from pipeline.fit.verdict import KEEP, LAST, NEWEST, PINNED, REFUSED, Choice

UNPIN = "newest"  # what `use` takes instead of an id


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
    reasons: list[str] = []
    data: Data
    settings: dict[str, Any]
    versions: dict[str, str]


class Decision(BaseModel):
    """What a person decided of a kept model, and the reason if one was given."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    decision: Literal["adopt", "refuse"]
    because: str | None = None


class Pin(BaseModel):
    """The kept model that a person wants used, whatever the newest fit, and the reason if one was given."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: str
    because: str | None = None


class Decisions(BaseModel):
    """decisions.json: what people decided of a study's kept models. It names no person and no day."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    decided: dict[str, Decision] = {}
    use: Pin | None = None

    def because(self, one: str) -> str | None:
        """Give a person's reason for the state of a model."""
        return self.decided[one].because if one in self.decided else None


def is_adopted(record: Record, decisions: Decisions) -> bool:
    """Tell whether a kept model is adopted: by a person's word if there is one, else by its verdict."""
    if record.id in decisions.decided:
        return decisions.decided[record.id].decision == "adopt"
    return record.verdict != KEEP


def lineage(records: Sequence[Record], decisions: Decisions) -> list[Record]:
    """List the adopted models in the order of the records."""
    return [record for record in records if is_adopted(record, decisions)]


def parent_of(records: Sequence[Record], decisions: Decisions, fitted: str) -> str | None:
    """Give the id of the kept model that a fit is held against, or None where there is none.

    A fit that is kept already stays with the one it was held against then, so that doing it again gives the same.
    """
    known = {record.id: record for record in records}
    if fitted in known:
        parent = known[fitted].parent
        return parent if parent in known else None
    adopted = lineage(records, decisions)
    return adopted[-1].id if adopted else None


def lost_parent(records: Sequence[Record], fitted: str) -> str | None:
    """Give the parent that a kept fit has in its record and that is no longer kept; None if there is no such."""
    parent = next((record.parent for record in records if record.id == fitted), None)
    return None if parent in {record.id for record in records} else parent


def choose(records: Sequence[Record], decisions: Decisions, fitted: str, air: Mapping[str, float]) -> Choice:
    """Choose the model that golfers are measured with.

    Parameters
    ----------
    records : sequence of Record
        Oldest first, the newest fit's among them.
    decisions : Decisions
    fitted : str
        Id of the newest fit.
    air : mapping
        The study's standard conditions; models of others can't stand in.

    Returns
    -------
    Choice
    """
    if decisions.use is not None:
        return Choice(decisions.use.id, PINNED, fitted, decisions.use.because)
    usable = [record.id for record in lineage(records, decisions) if record.settings["air"] == dict(air)]
    if fitted in usable:
        return Choice(fitted, NEWEST, fitted)
    because = decisions.because(fitted)
    return Choice(usable[-1], REFUSED, fitted, because) if usable else Choice(fitted, LAST, fitted, because)


def find_one(records: Sequence[Record], given: str, where: str) -> Record:
    """Find a kept model by any beginning of its id that no other one has.

    Parameters
    ----------
    records : sequence of Record
    given : str
    where : str
        The folder of kept models, for an error.

    Raises
    ------
    UserError
        If none or more than one begins so.
    """
    found = [record for record in records if given and record.id.startswith(given)]
    if len(found) == 1:
        return found[0]
    there = ", ".join(record.id for record in found or records)
    if found:
        raise UserError(f"{given}: begins more than one id in {where}: {there}. Give more of it.")
    are = "are" if len(records) > 1 else "is only"
    raise UserError(f"{given}: {where} holds no model whose id begins so; there {are} {there}.")


def decide(
    records: Sequence[Record],
    decisions: Decisions,
    one: Record,
    decision: Literal["adopt", "refuse"],
    because: str | None,
) -> Decisions:
    """Adopt or refuse a kept model; one that is refused isn't pinned any more.

    Raises
    ------
    UserError
        If no adopted model would be left.
    """
    found = decisions.model_copy(
        update={"decided": {**decisions.decided, one.id: Decision(decision=decision, because=because)}}
    )
    if not lineage(records, found):
        raise UserError(f"{one.id}: is the only adopted model, and a study needs one. Adopt another first.")
    pinned = decisions.use is not None and decisions.use.id == one.id
    return found.model_copy(update={"use": None}) if decision == "refuse" and pinned else found
