"""Results by hand: logs of club speed and carry alone, told from those of a device (pure: touches no file)."""

from collections.abc import Sequence

from pipeline.collect.drafting.drafted import FLIGHT
from pipeline.collect.drafting.lexicon import read_header
from pipeline.collect.layout import Matched, printable
from pipeline.configuration.layouts import Layout
from pipeline.tables.logs import BY_HAND_REQUIRED

_WORDS = ("launch", "spin")
_ITS_OWN = "put it into a study of its own"


def looks_like_flight(header: str) -> bool:
    """Tell whether a header speaks of launch or spin, in any language that drafts know."""
    folded = header.casefold()
    return any(word in folded for word in _WORDS) or read_header(header).meaning in FLIGHT


def layout_is_by_hand(layout: Layout) -> bool:
    """Tell whether a layout names neither launch nor spin."""
    return not any(name in layout.columns for name in FLIGHT)


def headers_are_by_hand(headers: Sequence[str]) -> bool:
    """Tell whether a log with the standard headers has all that results by hand need, and no launch and no spin."""
    names = {header.strip() for header in headers}
    return names.issuperset(BY_HAND_REQUIRED) and not any(map(looks_like_flight, headers))


def of_the_other_kind(headers: Sequence[str], matched: Matched, *, by_hand: bool) -> str | None:
    """Say, as a clause, why a log can't stand among a study's others, by launch and spin; None if it can.

    Parameters
    ----------
    headers : sequence of str
        The log's own.
    matched : Matched
        Its columns.
    by_hand : bool
        Whether the study is one of results by hand.
    """
    taken = [name for name in FLIGHT if name in matched.positions]
    flight = [header for place, header in enumerate(headers) if looks_like_flight(header)]
    if by_hand and taken:
        return f"it has {' and '.join(taken)}, and the study's first logs have neither launch nor spin; {_ITS_OWN}"
    if by_hand and flight:
        return (
            f"its column {printable(flight[0])!r} looks like launch or spin, and nothing takes it; name it under "
            "columns of a layout, or take it out of the log"
        )
    known = set(BY_HAND_REQUIRED) <= set(matched.positions)
    if not by_hand and known and not taken and not flight:
        return f"it has neither launch nor spin, as results by hand, and the study's other logs have them; {_ITS_OWN}"
    return None
