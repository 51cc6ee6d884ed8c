"""Where the lines, dots and bars of a golfer's sheet go: plain numbers, which a template turns into SVG."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl
from contourpy import FillType, LineType, contour_generator
from matplotlib.colors import to_hex
from matplotlib.ticker import MaxNLocator

from pipeline.report.figures.look import ON_REACH, PART_LOOKS
from pipeline.report.sheet.facts import Target
from pipeline.report.shown_sums import shown_losses
from pipeline.shown import number_text, shown_edges
from pipeline.statistics.arrays import Array
from pipeline.tables.golfers import PARTS

# Drawing units; a sheet's column is about as many CSS pixels wide.
WIDTH = 340.0
LEFT, RIGHT = 112.0, 282.0  # of the plot of a row chart; labels stand before it, figures after it
ROW = 17.0
# Shades of a drawing of deliveries, by yards below the efficient carry: the darker, the farther drives carry. Pale, so
# that dots and words keep their contrast.
SHADES = ((30.0, "#f3f3f3"), (20.0, "#ebebeb"), (10.0, "#e0e0e0"), (5.0, "#d2d2d2"))
GRID = 41  # points each way of expected carry behind them


@dataclass(frozen=True)
class DrawnAxis:
    """A straight scale with round ticks, from `start` to `end` in drawing units."""

    ticks: tuple[float, ...]
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """Give the place of a value, to a tenth of a unit."""
        low, high = self.ticks[0], self.ticks[-1]
        return round(self.start + (value - low) / (high - low) * (self.end - self.start), 1)

    def marks(self) -> list[dict[str, Any]]:
        """Give place and text of every tick."""
        return [{"at": self(tick), "text": f"{tick:,g}"} for tick in self.ticks]


@lru_cache(maxsize=1)
def _locator() -> MaxNLocator:
    return MaxNLocator(nbins=5, steps=[1, 2, 5, 10])


def axis_over(values: Iterable[float], start: float, end: float) -> DrawnAxis:
    """Make an axis whose round ticks hold all values."""
    known = [float(value) for value in values]
    low, high = min(known), max(known)
    pad = 0.5 if low == high else 0.0
    ticks = _locator().tick_values(low - pad, high + pad)
    return DrawnAxis(tuple(float(tick) for tick in ticks), start, end)


def row_chart(
    rows: Sequence[Mapping[str, Any]], unit: str, *, lines: Mapping[str, float] | None = None
) -> dict[str, Any]:
    """Lay out a chart of one figure a row.

    Parameters
    ----------
    rows : sequence of mapping
        `label`, `value`, and what is wanted of `shown` (the figure to write, else that of `value`), `low` and `high`
        (an interval), `bar` (colour of a bar from 0) and `own` (true: the golfer's own figure, drawn so that it stands
        out).
    unit : str
        Named under the axis.
    lines : mapping of str to float, optional
        Values marked by a dashed line, by their text.

    Returns
    -------
    dict
        Places in drawing units.
    """
    lines = lines or {}
    values = [row[name] for row in rows for name in ("value", "low", "high") if row.get(name) is not None]
    zero = [0.0] if any(row.get("bar") for row in rows) else []
    axis = axis_over([*values, *lines.values(), *zero], LEFT, RIGHT)
    top = 14.0 if lines else 4.0
    laid = []
    for place, row in enumerate(rows):
        laid.append(
            {
                "label": row["label"],
                "y": round(top + ROW * (place + 0.5), 1),
                "x": axis(row["value"]),
                "text": number_text(row.get("shown", row["value"])),
                "low": axis(row["low"]) if row.get("low") is not None else None,
                "high": axis(row["high"]) if row.get("high") is not None else None,
                "bar": row.get("bar"),
                "own": bool(row.get("own")),
            }
        )
    bottom = top + ROW * len(rows)
    return {
        "rows": laid,
        "ticks": axis.marks(),
        "zero": axis(0.0) if zero else None,
        "lines": [{"x": axis(value), "text": text} for text, value in lines.items()],
        "top": top,
        "bottom": bottom,
        "left": LEFT,
        "right": RIGHT,
        "width": WIDTH,
        "height": bottom + 30,
        "unit": unit,
    }


def standing_chart(row: Mapping[str, Any]) -> dict[str, Any] | None:
    """Lay out carry at the band's centre: the golfer, the band's percentiles, the efficient carry.

    What is null is left out; None where fewer than two rows are left.
    """
    rows = [{"label": "this golfer", "value": row["moved_yd"], "own": True}] if row["moved_yd"] is not None else []
    rows += [
        {"label": f"{p}th percentile", "value": row[f"band_carry_p{p}_yd"]}
        for p in (25, 50, 75, 90)
        if row[f"band_carry_p{p}_yd"] is not None
    ]
    if row["band_efficient_carry_yd"] is not None:
        ends = {"low": row["band_efficient_lo90_yd"], "high": row["band_efficient_hi90_yd"]}
        rows.append({"label": "efficient carry", "value": row["band_efficient_carry_yd"], **ends})
    return row_chart(rows, "carry at the band's center, yd") if len(rows) > 1 else None


def parts_chart(row: Mapping[str, Any]) -> dict[str, Any] | None:
    """Lay out the parts of the yards lost; a part that is not known is left out, None where none is known."""
    whole = shown_losses(row)
    rows = [
        {"label": PART_LOOKS[name][0], "value": row[name], "shown": whole[name], "bar": to_hex(PART_LOOKS[name][1])}
        for name in PARTS
        if row[name] is not None
    ]
    return row_chart(rows, "yards lost, yd") if rows else None


def history_chart(history: Sequence[Mapping[str, Any]], threshold_yd: float) -> dict[str, Any] | None:
    """Lay out yards lost by quarter with their intervals; None where no quarter has them."""
    rows = [
        {
            "label": row["quarter"],
            "value": row["lost_yd"],
            "shown": shown_losses(row)["lost_yd"],
            "low": row["lost_lo90_yd"],
            "high": row["lost_hi90_yd"],
            "own": True,
        }
        for row in history
        if row["lost_yd"] is not None
    ]
    return row_chart(rows, "yards lost, yd", lines={f"{threshold_yd:g} yd": threshold_yd}) if rows else None


NO_SPIN_RPM = (2000.0, 3000.0)  # the axis of a sheet that has no spin to show


def delivery_chart(row: Mapping[str, Any], target: Target | None, dots: pl.DataFrame | None) -> dict[str, Any]:
    """Lay out launch over spin: the golfer's drives, the typical drive, the window and the best delivery.

    Expected carry is shaded wherever the lookup answers, and nowhere else.

    Parameters
    ----------
    row : mapping
        A row of `Golfers`.
    target : Target or None
    dots : DataFrame or None
        launch_deg and spin_rpm of the golfer's own drives. Those far from all others are not drawn.
    """
    empty = np.empty((0, 2))
    drives = empty if dots is None else dots.select("spin_rpm", "launch_deg").to_numpy().astype(float)
    if len(drives):
        low, high = np.quantile(drives, [0.02, 0.98], axis=0)
        drives = drives[((drives >= low) & (drives <= high)).all(axis=1)]
    window = target.window if target is not None else None
    spin = [] if row["spin_rpm"] is None else [row["spin_rpm"]]  # a guessed one is not known
    launches, spins = shown_edges(window) or ((), ())
    best = [] if target is None else [(target.spin_rpm, target.launch_deg)]
    x = axis_over([*drives[:, 0], *spin, *spins, *(s for s, _ in best)] or NO_SPIN_RPM, 48.0, WIDTH - 18)
    y = axis_over([*drives[:, 1], row["launch_deg"], *launches, *(l for _, l in best)], 128.0, 8.0)
    box = None
    if launches and spins:
        left, right, top = x(spins[0]), x(spins[1]), y(launches[1])
        box = {
            "x": left,
            "y": top,
            "width": round(right - left, 1),
            "height": round(y(launches[0]) - top, 1),
        }
    return {
        "x": x,
        "y": y,
        "dots": [(x(spin), y(launch)) for spin, launch in drives.tolist()],
        "window": box,
        "typical": (x(spin[0]), y(row["launch_deg"])) if spin else None,
        "best": [(x(s), y(l)) for s, l in best],
        "answered": [] if target is None else [_closed([(x(b), y(a)) for a, b in o.tolist()]) for o in target.answered],
        "reach": "" if target is None else _reach(target, x, y),
        "shades": [] if target is None else _shades(target, x, y),
        "width": WIDTH,
        "height": 160.0,
    }


def _reach(target: Target, x: DrawnAxis, y: DrawnAxis) -> str:
    """Give the path about the deliveries that golfers of the speed reach; empty where there is none."""
    if target.reach is None or not target.reach[2].any():
        return ""
    launch, spin, marks = target.reach
    lines = contour_generator(spin, launch, marks.astype(float), line_type=LineType.Separate).lines(ON_REACH)
    return "".join(_closed([(x(a), y(b)) for a, b in np.asarray(line).tolist()]) for line in lines)


def _shades(target: Target, x: DrawnAxis, y: DrawnAxis) -> list[dict[str, str]]:
    """Give paths that shade the drawing by how far expected carry is below the efficient, the farthest first.

    They fill the axes; the outlines of answers cut them.
    """
    if target.expected is None or not target.answered:
        return []
    ends = np.concatenate(target.answered)
    launches, spins = _within(y, ends[:, 0]), _within(x, ends[:, 1])
    if launches is None or spins is None:
        return []
    cut = contour_generator(spins, launches, target.expected(launches, spins), fill_type=FillType.OuterCode)
    shaded = []
    for short, colour in SHADES:
        polygons, codes, *_ = cut.filled(target.carry_yd - short, np.inf)
        rings = [ring for pair in zip(polygons, codes, strict=True) for ring in _rings(*pair)]
        if rings:
            path = "".join(_closed([(x(a), y(b)) for a, b in ring.tolist()]) for ring in rings)
            shaded.append({"path": path, "fill": colour})
    return shaded


def _within(axis: DrawnAxis, ends: Array) -> Array | None:
    """Give points along an axis where it runs between the ends of the outlines; None where it doesn't."""
    low, high = max(axis.ticks[0], float(ends.min())), min(axis.ticks[-1], float(ends.max()))
    return np.linspace(low, high, GRID) if low < high else None


def _rings(points: Array | None, codes: npt.NDArray[np.unsignedinteger[Any]] | None) -> list[Array]:
    """Cut the points of a filled contour into its rings; each begins with a move (code 1)."""
    return [] if points is None or codes is None else np.split(points, np.flatnonzero(codes == 1)[1:])


def _closed(points: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{a:g} {b:g}" for a, b in points) + "z"
