"""What the academy's page shows in a browser, and what the CSV tables say it must show."""

import math

import polars as pl

from pipeline.report.shown_sums import shown_losses

PARTS = ("contact", "launch", "spin", "consistency", "other")
PERCENTILES = (25, 50, 75, 90)
DASH = "\N{EN DASH}"
# Newest flags first, then those that are gone and those that are still there, as the page words them.
FLAGS = {"new": "new", "no_longer": "no longer", "still": "still", "clear": "not flagged"}
ORDER = {name: place for place, name in enumerate(FLAGS)}
PRINTABLE_PX = 703  # of A4's 210 mm less two margins of 12 mm, 96 pixels to the inch

READ = """name => [...document.querySelectorAll(`#${name}-table tbody tr`)].map(
  row => [...row.cells].map(cell => cell.innerText.trim()))"""


def read_csv(path):
    return pl.read_csv(path, infer_schema_length=None)


def rows_of(page, name):
    """Read a table's cells off the page."""
    return page.evaluate(READ, name)


def glance_of(page):
    """Read the quarter at a glance off the page."""
    return {name: page.locator(f"dl.counts dd#{name}").inner_text() for name in
            ("golfers", "drives", "assessed", "flagged", "recoverable_yd", "new", "no_longer")}  # fmt: skip


def written(value, decimals):
    if value is None:
        return DASH
    return f"{math.floor(value * 10**decimals + 0.5) / 10**decimals + 0.0:.{decimals}f}"


def span(row, low, high, decimals):
    if row[low] is None or row[high] is None:
        return DASH
    return f"{written(row[low], decimals)} to {written(row[high], decimals)}"


def window(row, low, high, step, figure):
    """Write a range of a window, its ends moved inward to the step."""
    if row[low] is None or row[high] is None:
        return DASH
    ends = (math.ceil(row[low] / step) * step, math.floor(row[high] / step) * step)
    return " to ".join(figure.format(end) for end in ends)


def wrong_flags(q):
    return "<0.1" if q < 0.001 else "<1" if q < 0.01 else str(math.ceil(round(100 * q, 9)))


def flagged_rows(flagged):
    """Write what flagged.csv says as the page must show it, in the file's order."""
    return [
        [
            r["golfer"], str(r["shots"]), written(r["club_speed_mph"], 0), written(r["carry_yd"], 0),
            written(r["efficient_yd"], 0), written(lost["lost_yd"], 0), span(r, "lost_lo90_yd", "lost_hi90_yd", 0),
            written(r["ranked_lost_yd"], 0), *(written(lost[f"lost_{part}_yd"], 0) for part in PARTS), r["main_cause"],
            wrong_flags(r["q_value"]),
        ]
        for r, lost in ((r, shown_losses(r)) for r in flagged.to_dicts())
    ]  # fmt: skip


def change_rows(changes, quarter):
    """Write what changes.csv says of a quarter as the page must show it."""
    rows = [r for r in changes.to_dicts() if r["quarter"] == quarter]
    rows = [r for r in rows if r["movement"] in ORDER]
    rows = [r for r in rows if r["movement"] != "clear" or r["more_than_chance"]]
    rows.sort(key=lambda r: (ORDER[r["movement"]], r["lost_change_yd"], r["golfer"]))
    return [
        [
            r["golfer"], FLAGS[r["movement"]], r["since"],
            str(r["shots_before"]), str(r["shots"]), written(r["club_speed_change_mph"], 1),
            written(r["carry_change_yd"], 0), written(r["lost_change_yd"], 0),
            span(r, "lost_change_lo90_yd", "lost_change_hi90_yd", 0), written(r["chance_change_yd"], 0),
            "yes" if r["more_than_chance"] else "no",
        ]
        for r in rows
    ]  # fmt: skip


def band_rows(bands, quarter):
    """Write what bands.csv says of a quarter as the page must show it; notes are left out."""
    rows = sorted((r for r in bands.to_dicts() if r["quarter"] == quarter), key=lambda r: r["band_mph"])
    return [
        [f"{r['band_mph']:g}", *([DASH] * 13 if r["suppressed"] else _band(r))] for r in rows
    ]  # fmt: skip


def _band(r):
    share = r["in_window_share"]
    return [
        str(r["golfers"]), str(r["shots"]), *(_carry(r, p) for p in PERCENTILES),
        written(r["efficient_carry_yd"], 0), span(r, "efficient_lo90_yd", "efficient_hi90_yd", 0),
        written(r["efficient_total_yd"], 0), window(r, "launch_lo_deg", "launch_hi_deg", 0.5, "{:.1f}"),
        window(r, "spin_lo_rpm", "spin_hi_rpm", 50, "{:,.0f}"), written(r["speed_ratio_p50"], 2),
        written(None if share is None else 100 * share, 0),
    ]  # fmt: skip


def _carry(r, p):
    """Write a percentile of carry; the 50th has its interval."""
    value, ends = written(r[f"carry_p{p}_yd"], 0), span(r, f"carry_p{p}_lo90_yd", f"carry_p{p}_hi90_yd", 0)
    return value if p != 50 or ends == DASH else f"{value} ({ends})"


def glance(golfers, changes, quarter):
    """Write the quarter at a glance as golfers.csv and changes.csv have it."""
    here = golfers.filter(pl.col("quarter") == quarter)
    flagged = here.filter(pl.col("flagged"))
    moved = changes.filter(pl.col("quarter") == quarter)
    first = set(flagged["golfer"]) - set(moved.filter(pl.col("movement").is_in(list(ORDER)))["golfer"])
    return {
        "golfers": str(here.height),
        "drives": f"{sum(here['shots']):,}",
        "assessed": str(here.filter(pl.col("status") != "not_assessed").height),
        "flagged": str(flagged.height),
        "recoverable_yd": f"{math.floor(sum(flagged['ranked_lost_yd']) + 0.5):,} yd",
        "new": str(moved.filter(pl.col("movement") == "new").height + len(first)),
        "no_longer": str(moved.filter(pl.col("movement") == "no_longer").height),
    }


def beyond_the_paper(page):
    """Lay the page out as printed on A4 and give every cell, picture and line that reaches beyond the margin."""
    page.emulate_media(media="print")
    page.set_viewport_size({"width": PRINTABLE_PX, "height": 1000})
    return page.evaluate(
        """width => [...document.querySelectorAll("td, th, img, p, li, dd")].filter((e) => e.offsetParent && (
          e.getBoundingClientRect().right > width + 1 || e.scrollWidth > e.clientWidth + 1)).map((e) => e.outerHTML)""",
        PRINTABLE_PX,
    )
