"""Sentences of the academy's page, from the catalogue."""

from collections.abc import Sequence

from pipeline.texts.catalogue import told


def say(key: str, **words: str) -> str:
    """Give a sentence of the page with its words filled in. Words named as those of Python need none here."""
    return told("academy", key, **words)


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
