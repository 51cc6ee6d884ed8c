"""Golden numbers of the demo run, in golden.json with a tolerance each, so that a change shows in review.

`pytest tests/workflow/test_golden.py --renew-golden` writes them anew.
"""

import json
from pathlib import Path

import polars as pl
import pytest

GOLDEN = Path(__file__).with_name("golden.json")

# Counts of rows are exact. Fits differ in their last digits between machines; a window's edge moves by grid steps.
TOLERANCE = {"rows": 0, "rmse_yd": 0.02, "yd": 0.1, "deg": 0.25, "rpm": 50, "golfers": 1}

BAND_COLUMNS = (
    "carry_p50_yd",
    "efficient_carry_yd",
    "launch_lo_deg",
    "launch_hi_deg",
    "spin_lo_rpm",
    "spin_hi_rpm",
)


def numbers(results):
    """Gather the golden numbers: (name, value, kind of tolerance)."""
    sources = pl.read_csv(results / "sources.csv")
    for column in ("rows", "accepted", "rejected", "duplicates"):
        yield f"sources.{column}", int(sources.get_column(column).sum()), "rows"
    for row in pl.read_csv(results / "model/scores.csv").to_dicts():
        yield f"scores.{row['model']}.rmse_yd", row["rmse_yd"], "rmse_yd"
        yield f"scores.{row['model']}.chosen", int(row["chosen"]), "rows"
    coefficients = pl.read_csv(results / "model/coefficients.csv")
    for row in coefficients.filter(pl.col("term").str.contains("device|intercept")).to_dicts():
        yield f"coefficients.{row['model']}.{row['term']}", row["estimate"], "yd"
    bands = pl.read_csv(results / "benchmarks/bands.csv", infer_schema_length=None).filter(quarter="2026Q3")
    for row in bands.to_dicts():
        band = f"bands.{row['band_mph']:g}"
        yield f"{band}.golfers", row["golfers"], "rows"
        for name in BAND_COLUMNS:
            yield f"{band}.{name}", row[name], name.rsplit("_", 1)[1]
    golfers = pl.read_csv(results / "golfers/golfers.csv", infer_schema_length=None)
    yield "golfers.rows", golfers.height, "rows"
    counts = golfers.filter(quarter="2026Q3").group_by("status").len().sort("status")
    for status, count in counts.iter_rows():
        yield f"golfers.2026Q3.{status}", count, "golfers"
    causes = golfers.filter((pl.col("quarter") == "2026Q3") & pl.col("flagged")).group_by("main_cause").len()
    for cause, count in causes.sort("main_cause").iter_rows():
        yield f"flagged.2026Q3.{cause}", count, "golfers"


def test_golden_numbers(demo, request):
    found = {name: {"value": value, "tolerance": TOLERANCE[kind]} for name, value, kind in numbers(demo.results)}
    if request.config.getoption("--renew-golden"):
        GOLDEN.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
        pytest.skip("golden numbers written anew: read the difference before committing it")
    golden = json.loads(GOLDEN.read_text(encoding="utf-8"))
    assert set(found) == set(golden)
    moved = {
        name: (golden[name]["value"], entry["value"])
        for name, entry in found.items()
        if abs(entry["value"] - golden[name]["value"]) > golden[name]["tolerance"]
    }
    assert moved == {}
