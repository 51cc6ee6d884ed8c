"""Rows of the table `Straightness` and drives that came down as it says, for the tests of the academy's page."""

import numpy as np
import polars as pl
from page_cases import code


def straight(name, quarter="2026Q3", **given):
    """Make an assessed golfer's row: 6 yd right on average, a spread of 18 yd, an ellipse that leans right."""
    row = {
        "golfer": code(name), "quarter": quarter, "status": "assessed", "shots": 40, "known": 36, "calculated": 0,
        "carry_yd": 186.0, "corridor_yd": 30.0, "offline_mean_yd": 6.2, "offline_mean_lo90_yd": 1.8,
        "offline_mean_hi90_yd": 10.6, "offline_sd_yd": 18.1, "offline_sd_lo90_yd": 15.6, "offline_sd_hi90_yd": 22.4,
        "in_corridor_share": 0.47, "in_corridor_share_lo90": 0.38, "in_corridor_share_hi90": 0.56,
        "long_axis_yd": 19.0, "short_axis_yd": 9.0, "axis_tilt_deg": 70.0,
    }  # fmt: skip
    return row | given


def not_straight(name, quarter="2026Q3", **given):
    """Make the row of a golfer who couldn't be assessed: no drive says where it came down."""
    row = {"golfer": code(name), "quarter": quarter, "status": "not_assessed", "shots": 20, "known": 0}
    return (
        row
        | {"calculated": 0, "corridor_yd": 30.0, "note": "offline is known for less than half of the drives"}
        | given
    )


def landings(*rows, count=40):
    """Scatter drives about each row's ellipse as it says, the same every time, as `landings_to_draw` gives them."""
    random = np.random.default_rng(7)
    frames = []
    for row in rows:
        turned = np.radians(row["axis_tilt_deg"])
        ways = np.array([[np.sin(turned), np.cos(turned)], [np.cos(turned), -np.sin(turned)]])
        lengths = np.array([row["long_axis_yd"], row["short_axis_yd"]])
        points = (random.normal(size=(count, 2)) * lengths) @ ways + [row["offline_mean_yd"], row["carry_yd"]]
        frames.append(
            pl.DataFrame({"golfer": [row["golfer"]] * count, "offline_yd": points[:, 0], "carry_yd": points[:, 1]})
        )
    return pl.concat(frames)


def changed(row, **verdicts):
    """Give a row of `Progress` changes of offline: 2 yd farther right, 4 yd wider."""
    for name, change in (("offline_mean", 2.0), ("offline_sd", 4.0)):
        row = row | {
            f"{name}_change{end}_yd": change + reach for end, reach in (("", 0), ("_lo90", -1.5), ("_hi90", 1.5))
        }
        row |= {f"{name}_p_value": 0.01, f"{name}_q_value": 0.02}
        row[f"{name}_verdict"] = verdicts.get(name, "no_clear_change")
    return row
