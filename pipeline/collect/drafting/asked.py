"""What a person is asked about a draft, and what becomes of the answers (pure)."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Protocol
from zoneinfo import available_timezones

from pipeline.collect.drafting.drafted import FLIGHT, Draft, RowsChoice

_NONE = "from none: the log has no launch and no spin"


class Asker(Protocol):
    """A person at a terminal."""

    def choose(self, question: str, options: Sequence[str]) -> int | None:
        """Ask for one of some options; None leaves it open."""

    def say(self, question: str, problem: Callable[[str], str | None]) -> str | None:
        """Ask for a text until `problem` finds none; None leaves it open."""


def ask(draft: Draft, asker: Asker, log: str) -> Draft:
    """Ask what isn't sure of one kind of log; give the draft with the answers."""
    if draft.sheet is not None and draft.sheets:
        sheets = [draft.sheet, *draft.sheets]
        answer = asker.choose(f"{log}: which sheet holds the drives?", sheets)
        draft = draft if answer is None else draft.with_sheet(sheets[answer])
    for name in draft.undecided():
        choice = draft.columns[name]
        options = [option.text() for option in choice.options]
        options += [_NONE] if draft.by_hand and name in FLIGHT else []
        answer = asker.choose(f"{log}: where does {name} come from? {choice.why[:1].upper()}{choice.why[1:]}.", options)
        if answer is not None:
            draft = draft.decided(name, choice.options[answer] if answer < len(choice.options) else None)
    if draft.rows is not None and not draft.rows.sure:
        draft = _ask_rows(draft, draft.rows, asker, log)
    if draft.zone_open:
        zone = asker.say(f"{log}: in which time zone are its times, such as Europe/Vienna?", _zone_problem)
        draft = replace(draft, zone_open=zone is None, timezone=zone)
    return draft


def _ask_rows(draft: Draft, rows: RowsChoice, asker: Asker, log: str) -> Draft:
    """Ask which rows are the driver's; one answer left out leaves it open."""
    if not rows.take:
        answer = asker.choose(f"{log}: which word in {rows.column!r} is the driver?", rows.doubtful)
        return draft if answer is None else draft.with_rows([rows.doubtful[answer]])
    taken = list(rows.take)
    for word in rows.doubtful:
        answer = asker.choose(f"{log}: is {word!r} in {rows.column!r} the driver too?", ("yes", "no"))
        if answer is None:
            return draft
        taken += [word] * (answer == 0)
    return draft.with_rows(taken)


def _zone_problem(zone: str) -> str | None:
    return (
        None
        if zone in available_timezones()
        else "No time zone has that name. Write one such as Europe/Vienna, please."
    )


def goals_of(text: str) -> dict[float, float]:
    """Read goals such as 90: 230, 100: 250; raise ValueError if they are none."""
    pairs = [part.split(":") for part in text.split(",") if part.strip()]
    return {float(band): float(carry) for band, carry in pairs}
