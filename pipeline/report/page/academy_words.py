"""Words of the academy's page: why rows were rejected, and what columns of logs hold."""

from collections.abc import Iterable, Mapping

from pipeline.tables.columns import ColumnFacts, facts_of
from pipeline.tables.logs import Shots

REJECT_WORDS = {
    "ragged": "the row has more or fewer cells than the header",
    "missing": "the cell is empty",
    "not_a_number": "it isn't a number",
    "not_a_time": "it isn't a date and time",
    "not_a_flag": "it is neither yes nor no",
    "too_low": "lower than any drive's",
    "too_high": "higher than any drive's",
    "speed_ratio_too_high": "more ball speed than the club speed can give",
    "speed_ratio_too_low": "too little ball speed for a ball that was struck",
    "carry_too_long_for_ball_speed": "farther than the ball speed can carry",
    "carry_too_short_for_ball_speed": "too short for the ball speed",
    "total_shorter_than_carry": "carry and roll together are shorter than carry",
}


def reject_words(rules: Iterable[str]) -> list[str]:
    """Say in words why rows were rejected; a rule without words of its own is told by its name."""
    return [REJECT_WORDS.get(rule, rule.replace("_", " ")) for rule in rules]


def value_words(columns: Iterable[str]) -> list[str]:
    """Say in words what columns of logs hold; one that isn't stored as it is keeps its name."""
    facts = facts_of(Shots)
    return ["time of the drive" if name == "struck_at" else _plain(facts, name) for name in columns]


def _plain(facts: Mapping[str, ColumnFacts], name: str) -> str:
    return facts[name].short.lower() if name in facts else name
