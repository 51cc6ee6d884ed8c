"""The page of a study of results by hand: one self-contained HTML page without any other file (pure)."""

import base64
import hashlib
from collections.abc import Mapping
from typing import Any

import dataframely as dy
import numpy as np
import polars as pl
from markupsafe import Markup

from pipeline.by_hand.reference import LEAST_GOLFERS
from pipeline.golfers.order import worst_first
from pipeline.report.palette import palette_css
from pipeline.report.templating import templates_in
from pipeline.shown import Units
from pipeline.tables.by_hand import References
from pipeline.tables.columns import PERCENTILES
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers
from pipeline.texts.catalogue import texts, told

_MOST_LISTED = 500
_MOST_DRAWN = 2000
# The drawing, in its own units: its size, and the room about the figure.
_WIDTH, _HEIGHT, _LEFT, _TOP, _BOTTOM, _EDGE = 720, 424, 52, 28, 60, 24
_TICKS = 6


def build_hand_page(
    golfers: dy.DataFrame[Golfers],
    bands: dy.DataFrame[BandTable],
    reference: dy.DataFrame[References],
    settings: Mapping[str, Any],
) -> str:
    """Build the page.

    Parameters
    ----------
    golfers, bands : DataFrame
        Of all quarters; the newest is shown.
    reference : DataFrame
        Empty where golfers are too few.
    settings : mapping
        study (as pages print it), units, flags, bands and privacy.

    Returns
    -------
    str
        A whole HTML document.
    """
    units = Units(settings["units"], "km/h" if settings["units"] == "metres" else "mph")
    quarter = str(golfers["quarter"].max())
    newest = worst_first(golfers.filter(pl.col("quarter") == quarter))
    environment = templates_in("pipeline.by_hand")
    style = palette_css() + environment.get_template("hand_page.css").render()
    script = environment.get_template("hand_page.js").render()
    flags = settings["flags"]
    return environment.get_template("hand_page.html.j2").render(
        policy=Markup(_policy(style, script)),
        style=Markup(style),
        script=Markup(script),
        t=texts("byhand"),
        heading=told("byhand", "hand_heading", study=settings["study"]),
        now=_now(newest, quarter),
        no_reference=None if reference.height else _no_reference(flags),
        golfers_told=told(
            "byhand",
            "hand_golfers_told",
            lost=units.distance_text(flags["lost_yd"]),
            rate=f"{100 * flags['false_discovery_rate']:g}",
            shots=f"{flags['min_shots']:g}",
        ),
        picture_told=texts("byhand")["hand_picture_told" if reference.height else "hand_dots_told"],
        picture=_picture(newest.head(_MOST_DRAWN), reference, units),
        percentiles=[told("byhand", "hand_percentile", p=str(p)) for p in PERCENTILES],
        bands=[_band(row, units) for row in bands.filter(pl.col("quarter") == quarter).iter_rows(named=True)],
        golfers=[_golfer(row, units, flags["min_shots"]) for row in newest.head(_MOST_LISTED).iter_rows(named=True)],
        more=_more(newest.height - _MOST_LISTED),
        units=units,
    )


def _now(newest: pl.DataFrame, quarter: str) -> str:
    assessed = newest.filter(pl.col("status") != "not_assessed").height
    flagged = newest.filter("flagged").height
    return told(
        "byhand", "hand_now", quarter=quarter.replace("Q", " Q"), assessed=str(assessed), golfers=str(newest.height),
        flagged=str(flagged),
    )  # fmt: skip


def _more(golfers: int) -> str:
    return told("byhand", "hand_more", count=str(golfers)) if golfers > 0 else ""


def _no_reference(flags: Mapping[str, Any]) -> str:
    return told("byhand", "hand_no_reference", least=str(LEAST_GOLFERS), shots=f"{flags['min_shots']:g}")


def _policy(style: str, script: str) -> str:
    digests = (
        f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'" for text in (script, style)
    )
    scripts, styles = digests
    return (
        f"default-src 'none'; script-src {scripts}; style-src {styles}; img-src data:; base-uri 'none'; "
        "form-action 'none'"
    )


def _band(row: Mapping[str, Any], units: Units) -> dict[str, Any]:
    carries = [row[f"carry_p{p}_yd"] for p in PERCENTILES]
    return {
        "band": f"{units.speed_figure(row['band_mph'])} {units.speed_unit}",
        "suppressed": row["suppressed"],
        "golfers": row["golfers"],
        "drives": row["shots"],
        "carries": ["\N{EN DASH}" if one is None else units.distance_figure(one) for one in carries],
    }


def _golfer(row: Mapping[str, Any], units: Units, min_shots: int) -> dict[str, Any]:
    lost, ends = row["lost_yd"], (row["lost_lo90_yd"], row["lost_hi90_yd"])
    shown = "\N{EN DASH}" if lost is None else units.distance_figure(lost)
    if None not in ends:
        shown += f" ({units.distance_range_text(*ends).removesuffix(' ' + units.distance_unit)})"
    better = row["efficient_yd"]
    return {
        "golfer": row["golfer"],
        "status": row["status"],
        "shown": texts("byhand")[_status(row, min_shots)],
        "lost": (lost, shown),
        "cells": [
            (row["carry_yd"], units.distance_figure(row["carry_yd"])),
            (better, "\N{EN DASH}" if better is None else units.distance_figure(better)),
            (row["club_speed_mph"], units.speed_figure(row["club_speed_mph"])),
            (row["shots"], f"{row['shots']:,}"),
        ],
    }


def _status(row: Mapping[str, Any], min_shots: int) -> str:
    """Name the text of a golfer's status; of one who isn't assessed it is the reason."""
    if row["status"] == "not_assessed":
        return "hand_status_few_drives" if row["shots"] < min_shots else "hand_status_few_golfers"
    return "hand_status_flagged" if row["flagged"] else "hand_status_clear"


def _picture(golfers: pl.DataFrame, reference: pl.DataFrame, units: Units) -> dict[str, Any]:
    """Lay the drawing out: dots, line and interval, ticks, in the drawing's own units."""
    speed = golfers["club_speed_mph"].to_numpy() / units.mph_each
    carry = golfers["carry_yd"].to_numpy() / units.yd_each
    curve = [reference["club_speed_mph"].to_numpy() / units.mph_each] + [
        reference[name].to_numpy() / units.yd_each
        for name in ("reference_yd", "reference_lo90_yd", "reference_hi90_yd")
    ]
    across, up = _ticks(np.concatenate([speed, curve[0]])), _ticks(np.concatenate([carry, *curve[1:]]))

    def x(value: float) -> float:
        return round(_LEFT + (value - across[0]) / (across[-1] - across[0]) * (_WIDTH - _LEFT - _EDGE), 1)

    def y(value: float) -> float:
        return round(_HEIGHT - _BOTTOM - (value - up[0]) / (up[-1] - up[0]) * (_HEIGHT - _BOTTOM - _TOP), 1)

    points = [(x(a), y(b)) for a, b in zip(speed.tolist(), carry.tolist(), strict=True)]
    flagged = golfers["flagged"].to_list()
    low, high = ([(x(a), y(b)) for a, b in zip(curve[0], values, strict=True)] for values in curve[2:])
    return {
        "width": _WIDTH,
        "height": _HEIGHT,
        "dots": [point for point, bad in zip(points, flagged, strict=True) if not bad],
        "flagged": [point for point, bad in zip(points, flagged, strict=True) if bad],
        "line": _joined([(x(a), y(b)) for a, b in zip(curve[0], curve[1], strict=True)]),
        "interval": _joined(low + high[::-1]),
        "across": [(x(one), f"{one:g}") for one in across],
        "up": [(y(one), f"{one:g}") for one in up],
        "left": _LEFT,
        "right": _WIDTH - _EDGE,
        "top": _TOP,
        "bottom": _HEIGHT - _BOTTOM,
    }


def _joined(points: list[tuple[float, float]]) -> str:
    return " ".join(f"{across:g},{up:g}" for across, up in points)


def _ticks(values: np.ndarray) -> list[float]:
    """Give round figures around some values, about `_TICKS` of them."""
    low, high = float(values.min()), float(values.max())
    rough = max((high - low) / _TICKS, 1.0)
    power = 10.0 ** np.floor(np.log10(rough))
    step = float(next(one * power for one in (1, 2, 5, 10) if one * power >= rough))
    first, last = float(np.floor(low / step) * step), float(np.ceil(high / step) * step)
    return [first + step * number for number in range(max(round((last - first) / step), 1) + 1)]
