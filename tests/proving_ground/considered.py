"""Consider every method on some academies of each world, sum up, and write considered.md and considered.csv."""

import sys
import zlib
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import considered_measures as c
import numpy as np
import polars as pl
from considered_case import MIN_GOLFERS, Case, Row, make_case
from scipy.special import stdtrit
from true_flight import Array
from words import table_of
from worlds import WORLDS

CONSIDERED_WORLDS = ("plain", "uneven-shots", "noisy-spin", "many-mishits", "devices-disagree")
ACADEMIES = 3  # of each world: one of each true ball
EVERYWHERE = "all"
LEVEL = 0.975  # of Student's t: a gain is told if its 95 % interval doesn't hold nil


@dataclass(frozen=True)
class Method:
    """A question that was put: what is in use, what was weighed against it, and how it is measured.

    Attributes
    ----------
    decides : str
        The figure in the table at the top.
    world : str
        The world that tries it hardest; shown beside all of them.
    words : str
        What is compared; nothing of the outcome, which is worked out.
    """

    title: str
    in_use: str
    alternative: str
    decides: tuple[str, ...]
    world: str
    words: str
    measure: Callable[[Case], list[Row]]


_EXPECTED = "expected carry of drives: rms error, yd"
_EFFICIENT = "efficient carry of bands: rms error, yd"
METHODS = (
    Method(
        "Golfers who differ in nothing beyond their readings", "least squares", "random effects of golfers",
        (_EXPECTED, _EFFICIENT), "noisy-spin",
        "Carry of the chosen surface with a random intercept of each golfer (restricted maximum likelihood) against "
        "least squares. In the simulator a drive's carry depends on its flight alone.",
        c.random_effects,
    ),
    Method(
        "Golfers who differ by 1 % of carry", "least squares", "random effects of golfers",
        (_EXPECTED, _EFFICIENT), "noisy-spin",
        "The same when golfers are made to carry 1 % (standard deviation) farther or shorter than their readings say.",
        partial(c.random_effects, golfer_sd=c.GOLFER_SD),
    ),
    Method(
        "Errors in the readings", "fit to the readings", "fit to the true drives, which no study has",
        ("slope with spin, yd per 100 rpm: rms error", _EFFICIENT), "noisy-spin",
        "Errors in readings can flatten slopes. The surface fitted to readings against the same fitted to true drives, "
        "at golfers' typical drives; the true slope is true flight's. What is left in the second is not attenuation.",
        c.attenuation,
    ),
    Method(
        "Scatter that grows with carry: weights of 1/carry^2", "least squares", "weighted by 1/carry^2",
        (_EXPECTED, _EFFICIENT), "many-mishits",
        "In the simulator the scatter that no reading explains is a share of carry.",
        partial(c.weights, power=2.0),
    ),
    Method(
        "Scatter that grows with carry: fitted weights", "least squares", "weighted by the fitted variance",
        (_EXPECTED, _EFFICIENT), "many-mishits",
        "The variance is taken as a power of expected carry, fitted to squared residuals.",
        partial(c.weights, power=None),
    ),
    Method(
        "Interval of a drive", "a share of carry", "so many yards",
        ("coverage of bands: rms distance from 0.9",), "plain",
        "Both are quantiles on golfers held out; each fold is judged by edges of the others.",
        c.widths,
    ),
    Method(
        "Mishits in the typical drive", "center of sound strikes, medians of launch and spin", "means",
        ("contact: bias, yd", "consistency: bias, yd"), "many-mishits",
        "Golfers whose one fault is mishits. The truth is their sound drives: contact, launch and spin like anybody's, "
        "all the rest consistency.",
        c.mishits,
    ),
    Method(
        "Devices that disagree", "a share of carry", "a constant offset",
        (c.SECOND_DEVICE, c.LOST_BIASES), "devices-disagree",
        "In the simulator a device reads a share of carry long or short: 2 %, and -4 % in `devices-disagree`. "
        "The second device is the one that is moved.",
        c.devices,
    ),
    Method(
        "Bands at the edges", f"from {MIN_GOLFERS} golfers' weight on",
        f"from {c.STRICTER_GOLFERS} golfers' weight on",
        ("both ends: rms error, yd",), "plain",
        "Efficient carry at the slowest and the fastest band that has one, and at those between.",
        c.edges,
    ),
    Method(
        "Percentiles of a band", "golfers of all bands moved to the center, near ones counting more",
        "the band's golfers alone, moved to its center",
        ("all percentiles: rms error, yd",), "plain",
        f"Against the percentiles of {c.CROWD:,} golfers of that very speed, where a figure is published. Both move "
        "golfers along the model's surface.",
        partial(c.percentiles, other=c.of_the_band_alone),
    ),
    Method(
        "Percentiles of a band by lines", "golfers of all bands moved to the center, near ones counting more",
        "quantile regression on club speed",
        ("all percentiles: rms error, yd",), "plain",
        "The regressions are straight lines through all golfers of the quarter, which single golfers lie on: they "
        "couldn't be published as they are.",
        partial(c.percentiles, other=c.of_straight_lines),
    ),
    Method(
        "Golfers nobody has seen: conformal interval", "quantiles of all drives", "split conformal, one drive a golfer",
        ("coverage on fresh golfers: distance from 0.9",), "uneven-shots",
        f"Both by golfers held out; tried on {c.FRESH_GOLFERS} newly drawn golfers.",
        partial(c.intervals, equal=False),
    ),
    Method(
        "Golfers nobody has seen: equal weight", "quantiles of all drives", "quantiles, golfers weighing the same",
        ("coverage on fresh golfers: distance from 0.9",), "uneven-shots",
        "Tried in the same way.",
        partial(c.intervals, equal=True),
    ),
)  # fmt: skip


def consider(world: str, academies: int) -> pl.DataFrame:
    """Measure every method on some academies of a world; these take the three true balls in turn.

    Returns
    -------
    DataFrame
        One row per academy, method and figure: world, academy, method, figure, in_use, alternative, target.
    """
    rows: list[Row] = []
    for number in range(academies):
        ball = WORLDS[world].balls[number % len(WORLDS[world].balls)]
        case = make_case(WORLDS[world], ball, zlib.crc32(f"considered {world} {number}".encode()))
        for method in METHODS:
            named = {"world": world, "academy": number, "method": method.title}
            rows += [named | found for found in method.measure(case)]
        print(f"considered, {world}: academy {number + 1} of {academies}", file=sys.stderr, flush=True)
    kinds = dict.fromkeys(("in_use", "alternative", "target"), pl.Float64)
    return pl.DataFrame(rows, infer_schema_length=None, schema_overrides=kinds)


def consider_all(processes: int, academies: int = ACADEMIES) -> pl.DataFrame:
    """Consider all worlds, shared out over processes; the same frame with any number of them."""
    with ProcessPoolExecutor(processes, get_context("spawn")) as pool:
        return pl.concat(pool.map(partial(consider, academies=academies), CONSIDERED_WORLDS))


def gain_of(in_use: Array, alternative: Array, target: Array) -> tuple[float, float | None]:
    """Tell how much nearer the alternative's mean lies to the target's mean than that of the one in use.

    Parameters
    ----------
    in_use, alternative, target : ndarray, shape (academies,)

    Returns
    -------
    tuple of float and float or None
        The gain, negative where the one in use is nearer, and its standard error by leaving out one academy at a time
        (jackknife: Efron, The Jackknife, the Bootstrap and Other Resampling Plans (1982), chapter 3); None of a single
        academy.
    """

    def gain(sums: Array) -> Array:
        return np.asarray(np.abs(sums[0] - sums[2]) - np.abs(sums[1] - sums[2]))

    values = np.stack([in_use, alternative, target])
    n = values.shape[1]
    if n < 2:
        return float(gain(values.mean(axis=1))), None
    left_out = gain((values.sum(axis=1, keepdims=True) - values) / (n - 1))
    spread = np.sqrt((n - 1) / n * np.sum((left_out - left_out.mean()) ** 2))
    return float(gain(values.mean(axis=1))), float(spread)


def outcome(gain: float | None, std_error: float | None, academies: int) -> str:
    """Say in words which of the two is nearer to what it should be, and by how much."""
    if gain is None:
        return ""
    size = f"{abs(gain):.3g}" if gain else "0"
    if std_error is None:
        return f"{'alternative' if gain > 0 else 'in use'} nearer by {size}, one academy" if gain else "the same"
    if abs(gain) <= float(stdtrit(academies - 1, LEVEL)) * std_error:
        return f"not told apart ({gain:+.3g}, std. error {std_error:.2g})"
    return f"{'alternative' if gain > 0 else 'in use'} nearer by {size} (std. error {std_error:.2g})"


def sum_up(found: pl.DataFrame) -> pl.DataFrame:
    """Average over academies, of all worlds and of each.

    Returns
    -------
    DataFrame
        method, worlds, figure, academies, target, in_use, alternative, gain (see `gain_of`), gain_std_error, outcome.
    """
    rows = []
    for worlds in (EVERYWHERE, *found.get_column("world").unique(maintain_order=True)):
        here = found if worlds == EVERYWHERE else found.filter(pl.col("world") == worlds)
        for (method, figure), part in here.group_by("method", "figure", maintain_order=True):
            if part.get_column("in_use").is_null().all() and part.get_column("alternative").is_null().all():
                continue
            rows.append({"method": method, "worlds": worlds, "figure": figure, **_summed(part)})
    return pl.DataFrame(rows, infer_schema_length=None)


def _summed(part: pl.DataFrame) -> dict[str, object]:
    names = ("in_use", "alternative", "target")
    # A figure that one way lacks in an academy is left out there for both; one that a way never has is shown alone.
    asked = [name for name in names if part.get_column(name).null_count() < part.height]
    rows = part.drop_nulls(asked)
    gain = std_error = None
    if len(asked) == len(names) and rows.height:
        gain, std_error = gain_of(*(rows.get_column(name).to_numpy() for name in names))
    means = {name: _mean(rows.get_column(name)) for name in ("target", "in_use", "alternative")}
    told = {"gain": gain, "gain_std_error": std_error, "outcome": outcome(gain, std_error, rows.height)}
    return {"academies": rows.height, **means, **told}


def _mean(values: pl.Series) -> float | None:
    """Give the mean of values of which all or none are known; by numpy, whose sum doesn't depend on chunks."""
    return None if values.null_count() else float(np.mean(values.to_numpy()))


def write_considered(found: pl.DataFrame, target: Path) -> None:
    """Write considered.csv (the figures) and considered.md (figures, words and what came out)."""
    summed = sum_up(found)
    target.mkdir(parents=True, exist_ok=True)
    summed.write_csv(target / "considered.csv")
    (target / "considered.md").write_text(considered_text(summed), encoding="utf-8", newline="\n")


def considered_text(summed: pl.DataFrame) -> str:
    """Write considered.md; what came out of each comparison is calculated from the figures."""
    everywhere = summed.filter(pl.col("worlds") == EVERYWHERE)
    academies = everywhere.get_column("academies").max()
    shown = ("target", "in_use", "alternative", "outcome")
    top = []
    for m in METHODS:
        words = {"question": m.title, "in use": m.in_use, "weighed": m.alternative}
        for figure in m.decides:
            found = everywhere.filter((pl.col("method") == m.title) & (pl.col("figure") == figure))
            top.append(words | {"figure": figure} | found.select(shown).row(0, named=True))
    parts = [HEAD.format(academies=academies, worlds=_list(summed), table=table_of(pl.DataFrame(top).rename(RENAMED)))]
    for m in METHODS:
        rows = summed.filter((pl.col("method") == m.title) & pl.col("worlds").is_in([EVERYWHERE, m.world]))
        table = rows.drop("method", "gain", "gain_std_error").rename(RENAMED)
        parts.append(f"## {m.title}\n{m.words} In use: {m.in_use}. Weighed: {m.alternative}.\n\n{table_of(table)}\n")
    return "\n".join(parts)


RENAMED = {"target": "should be", "in_use": "by the one in use", "alternative": "by the one weighed"}
HEAD = """# Considered
Methods weighed against those in use, on {academies} invented academies ({worlds}) whose true values are known.
A figure is a mean over academies. "Nearer" says whose mean lies nearer to what it should be, and by how much;
two are not told apart where the 95 % interval of that difference over academies includes zero. `considered.csv` has
every world.

{table}
"""


def _list(summed: pl.DataFrame) -> str:
    worlds: Sequence[str] = summed.get_column("worlds").unique(maintain_order=True).to_list()
    return ", ".join(f"`{world}`" for world in worlds if world != EVERYWHERE)
