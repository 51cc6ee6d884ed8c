"""The academy's page of the small study of conftest.py, with every odd case of the views #bands and #data."""

import polars as pl
from frontiers import frontier_at
from page_cases import drives_of
from rows import table_of
from whole_pages import page_of, payload_of

from pipeline.bands import SpeedBands
from pipeline.report.figures.band_map import plot_band_map
from pipeline.report.figures.look import figure_bytes
from pipeline.report.figures.naming import delivery_name
from pipeline.report.page.band_pictures import pictures_of
from pipeline.report.page.card_part import card_part
from pipeline.report.palette import THEMES
from pipeline.tables.devices import Devices
from pipeline.tables.table_set import TableSet

FRONTIER = frontier_at(
    range(65, 114), launch_deg=13.0, spin_rpm=2500.0,
    launch_lo_deg=11.5, launch_hi_deg=14.5, spin_lo_rpm=2100.0, spin_hi_rpm=2900.0,
)  # fmt: skip
CARD = """# Model <script>alert(1)</script>

Fitted on **60** golfers,
[here](https://elsewhere.example), [there](javascript:alert(2)),
![picture](https://elsewhere.example/a.png), <b onclick=x>bold</b>.

<iframe src="https://elsewhere.example"></iframe>

| model | rms, yd |
|---|---|
| line | 18.24 |
| <img src=x onerror=alert(3)> | 3.17 |

- one `code`
"""


def device(name, reading, **given):
    row = {"device": name, "reading": reading, "reference": "unit-A", "golfers": 31, "compared_by": "population"}
    row |= {"corrected": False, "note": f"what was found of {name}"}
    return row | given


def apart(value):
    return {"difference": value, "std_error": 0.002, "lo90": value - 0.004, "hi90": value + 0.004}


DEVICES = [
    device("unit-B", "ball_speed", **apart(-0.0312), corrected=True),
    device("unit-B", "launch", **apart(0.001)),
    device("unit-C", "spin", **apart(0.0614)),
    device("unit-C", "carry_over_flight", **apart(-0.05)),
    device("unit-D", "launch", **apart(0.001)),
    device("unit-E", "launch", compared_by="none"),
]


def drives_with_gaps(golfers):
    """Strike the study's drives; some lack air, spin or ball speed."""
    drives = drives_of(golfers.with_columns(shots=pl.lit(4)).to_dicts())
    place = pl.int_range(pl.len())
    return drives.with_columns(
        temp_c=pl.when(place % 2 == 0).then(pl.lit(15.0)),
        altitude_m=pl.when(place % 4 == 1).then(pl.lit(120.0)),
        pressure_hpa=pl.lit(None, pl.Float64),
        spin_measured=place % 5 != 0,
        ball_speed_mph=pl.when(place % 8 != 0).then(pl.lit(140.0)),
    )


def band_page(tables, golfers, bands, chart, settings, units="yards"):
    """Build the page."""
    speed_bands = SpeedBands.of(settings["bands"]["centres"], settings["bands"]["half_width_mph"])
    told = settings | {"units": units, "title": "Glen & <Fell>"}
    tables = TableSet({**tables.frames, Devices: table_of(Devices, DEVICES)})
    payload = payload_of(tables=tables, frontier=FRONTIER, drives=drives_with_gaps(golfers), settings=told)
    images = {
        delivery_name(centre, theme): figure_bytes(
            plot_band_map(golfers, bands, chart, speed_bands, band_mph=centre, min_golfers=5, scheme=scheme), "png"
        )
        for centre in speed_bands.centres_mph
        for theme, scheme in THEMES.items()
    }
    payload |= {"pictures": pictures_of(chart, speed_bands, images), "card": card_part(CARD)}
    return page_of(payload)
