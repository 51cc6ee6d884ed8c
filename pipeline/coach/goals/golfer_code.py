"""Which golfer a typed code means: any beginning of a pseudonym that only one golfer has."""

from collections.abc import Collection, Sequence

from pipeline.errors import UserError
from pipeline.texts.catalogue import told

_MOST_NAMED = 5
_SHORTEST = 6  # characters, as charts show a pseudonym
_MARKS = "*+"  # charts put them behind one


def matched(typed: str, golfers: Sequence[str]) -> str:
    """Find the pseudonym that a code means.

    Parameters
    ----------
    typed : str
        A pseudonym or its beginning, as tables, charts or people write it.
    golfers : sequence of str
        Pseudonyms, each once.

    Raises
    ------
    UserError
        If no golfer or more than one has such a pseudonym. What was typed, which may be a name, isn't repeated.
    """
    code = typed.strip().rstrip(_MARKS).lower()
    found = [golfer for golfer in golfers if code and golfer.startswith(code)]
    if code in found:
        return code
    if not found:
        raise UserError(told("numbers", "golfer_unknown"))
    if len(found) == 1:
        return found[0]
    named = found[:_MOST_NAMED]
    key = "golfer_ambiguous" if len(found) == len(named) else "golfer_ambiguous_more"
    codes = ", ".join(golfer[: telling_length(golfers)] for golfer in named)
    raise UserError(told("numbers", key, count=f"{len(found):,}", codes=codes))


def telling_length(golfers: Collection[str]) -> int:
    """Give how many characters tell all golfers apart; no fewer than charts show."""
    length = _SHORTEST
    while len({golfer[:length] for golfer in golfers}) < len(golfers):
        length += 1
    return length
