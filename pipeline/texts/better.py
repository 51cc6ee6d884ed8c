"""What golfers are called whose strike counts as efficient, as sentences name them."""

from pipeline.texts.catalogue import told

KEYS = {0.5: "half", 0.75: "quarter", 0.9: "tenth"}


def better_golfers(strike: float) -> str:
    """Name the golfers above a quantile of speed ratios, such as `better quarter` for 0.75 or `best 20 in 100`."""
    key = KEYS.get(strike)
    return told("better", "others", n=f"{100 * (1 - strike):.3g}") if key is None else told("better", key)


def with_better(text: str, strike: float, of: float) -> str:
    """Name in a text the golfers above one quantile where it names those above another, `of`."""
    return text.replace(better_golfers(of), better_golfers(strike))
