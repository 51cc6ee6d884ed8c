"""Words of the academy's page: why rows were rejected, and what a band means for a coach."""

from collections.abc import Iterable, Mapping
from typing import Any

from pipeline.benchmark.frontier import WINDOW_EDGES
from pipeline.benchmark.window import Window
from pipeline.shown import NO_WINDOW, WindowText, number_text, whole, window_parts
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


def band_sentences(
    bands: Iterable[Mapping[str, Any]], *, half_width_mph: float, min_golfers: int
) -> list[tuple[str, str]]:
    """Say for each band what a coach can tell a golfer of that speed.

    Parameters
    ----------
    bands : iterable of mapping
        Rows of `BandTable`, of one quarter.
    half_width_mph : float
        Half a band's width, mph.
    min_golfers : int
        Fewest golfers behind a published figure.

    Returns
    -------
    list of (str, str)
        The band, and its sentences; figures are rounded as in the band table.
    """
    return [
        (
            f"{row['band_mph']:g} mph ({row['band_mph'] - half_width_mph:g} to {row['band_mph'] + half_width_mph:g})",
            _band(row, min_golfers),
        )
        for row in bands
    ]


def _band(row: Mapping[str, Any], min_golfers: int) -> str:
    if row["suppressed"]:
        return f"Not shown, because fewer than {min_golfers} golfers have this speed."
    half = number_text(row["carry_p50_yd"])
    half = f"Half of golfers like these {row['golfers']} carry less than {half} yd{_half_sure(row)}."
    if row["efficient_carry_yd"] is None:
        return f"{half} There are too few drives to say how far a drive should carry."
    told = f"A well struck drive should carry about {number_text(row['efficient_carry_yd'])} yd{_sure(row)}."
    window = _window(row)
    if window is None:
        return f"{told} Window: {NO_WINDOW}. {half}"
    share = row["in_window_share"]
    inside = "" if share is None else f" {whole(share * row['golfers'])} of them launch and spin it in that window."
    return f"{told} Window: {window}. {half}{inside}"


def _window(row: Mapping[str, Any]) -> WindowText | None:
    edges = [row[name] for name in WINDOW_EDGES]
    return None if None in edges else window_parts(Window(*edges))


def _half_sure(row: Mapping[str, Any]) -> str:
    low, high = row["carry_p50_lo90_yd"], row["carry_p50_hi90_yd"]
    return "" if low is None or high is None else f" ({number_text(low)} to {number_text(high)} yd)"


def _sure(row: Mapping[str, Any]) -> str:
    low, high = row["efficient_lo90_yd"], row["efficient_hi90_yd"]
    if low is None or high is None:
        return ""
    return f" (the true figure most likely lies from {number_text(low)} to {number_text(high)} yd)"
