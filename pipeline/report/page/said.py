"""Sentences of the academy's page, from the catalogue."""

from collections.abc import Iterable, Sequence

from pipeline.shown import Units
from pipeline.texts.catalogue import told


def say(key: str, units: Units | None = None, /, **words: str) -> str:
    """Give a sentence of the page with its words filled in.

    Parameters
    ----------
    key : str
        Of the catalogue's part `academy`.
    units : Units, optional
        Needed where the sentence names a unit.
    **words : str
        Figures among them are written in those units.

    Raises
    ------
    KeyError
        If a word isn't given, or a unit.
    """
    named = {} if units is None else {"yd": units.distance_unit, "mph": units.speed_unit}
    return told("academy", key, **named, **words)


def people(number: int) -> str:
    """Write a number of golfers."""
    return say("one_golfer") if number == 1 else say("golfers", n=f"{number:,}")


def listed(words: Sequence[str]) -> str:
    """Write a list: `a`, `a and b`, `a, b and c`."""
    return words[0] if len(words) == 1 else say("and", a=", ".join(words[:-1]), b=words[-1])


def spaced(quarter: str) -> str:
    """Write a quarter for people: 2026Q3 gives 2026 Q3."""
    return quarter.replace("Q", " Q")


def capital(words: str) -> str:
    """Begin with a capital letter and leave the rest as it is."""
    return words[:1].upper() + words[1:]


def remarks_of(notes: Iterable[str | None]) -> list[str]:
    """Give each remark of a table's notes once, as a sentence, in their order."""
    remarks = dict.fromkeys(remark for note in notes if note for remark in note.split("; "))
    return [f"{capital(remark)}." for remark in remarks]
