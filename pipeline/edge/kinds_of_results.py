"""Results of a full study and of one by hand in the same folder: those of the other kind don't answer (an edge module).

A study may change: launch and spin are added to its logs, or taken out. Files that only the other kind makes would stay
beside the new ones, and commands would answer from them as if nothing had happened.
"""

from pathlib import Path

FRONTIER = Path("model/frontier.json")
BY_HAND = Path("golfers/reference.csv")  # of results by hand, whose study has no frontier
# What commands answer from, below a study's results: each is made anew when a study is full again.
OF_FULL = (FRONTIER, Path("report/lookup.html"), Path("run.json"))


def remove_other_kind(results: Path, *, by_hand: bool) -> None:
    """Remove what commands would answer from, though the study is of the other kind now.

    Parameters
    ----------
    results : Path
        Of the study's own run, or of a look or a trial.
    by_hand : bool
        Whether the study's logs are results by hand.
    """
    for name in OF_FULL if by_hand else (BY_HAND,):
        (results / name).unlink(missing_ok=True)
