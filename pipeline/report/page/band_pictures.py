"""The bands' pictures on the academy's page, for light and for dark paper, and what they say in words."""

import base64
from collections.abc import Mapping
from typing import Any

from pipeline.bands import SpeedBands
from pipeline.benchmark.chart import Chart
from pipeline.report.figures.naming import delivery_name
from pipeline.report.palette import THEMES


def pictures_of(chart: Chart, speed_bands: SpeedBands, images: Mapping[str, bytes]) -> dict[str, dict[str, Any]]:
    """Give the pictures of a study's bands.

    Parameters
    ----------
    chart : Chart
    speed_bands : SpeedBands
    images : mapping of str to bytes
        PNG of each band and theme, by `naming.delivery_name`.

    Returns
    -------
    dict
        By band, such as 90: best, launch_deg and spin_rpm of the delivery that carries farthest, None where too few
        drives show it; and by theme the picture, in base64.
    """
    return {
        f"{centre:g}": {"best": _best(chart, centre)}
        | {theme: base64.b64encode(images[delivery_name(centre, theme)]).decode("ascii") for theme in THEMES}
        for centre in speed_bands.centres_mph
    }


def _best(chart: Chart, centre: float) -> dict[str, float] | None:
    band = chart.map_of(centre)
    if band is None or not band.reachable.any():
        return None
    return {"launch_deg": band.best_launch_deg, "spin_rpm": band.best_spin_rpm}
