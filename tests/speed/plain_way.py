"""The same job as one would write it plainly: `python tests/speed/plain_way.py STUDY OUT [--resamples 200]`.

pandas and statsmodels formulas, everything in memory: read, clean, fit a response surface of carry with errors
clustered by golfer, efficient carry by band with an interval from resampled golfers, percentiles by quarter and band,
yards lost and flags by golfer and quarter. Written to be clear and idiomatic, not to be slow. Shares no code with the
pipeline.

What Yardband does and this doesn't: names masked, rejected rows kept with their rule, units checked, flight calibrated
and carry moved to standard conditions, candidates held against each other on golfers held out, windows, parts of yards
lost, ranking, comparison with kept models, disclosure control, figures, pages, sheets.
"""

import argparse
import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import statsmodels.formula.api as smf
from scipy import stats
from statsmodels.stats.multitest import multipletests

BOUNDS = {
    "club_speed_mph": (30, 165),
    "ball_speed_mph": (30, 245),
    "launch_deg": (-10, 45),
    "spin_rpm": (200, 12000),
    "carry_yd": (5, 450),
}
SAME = ["golfer", "struck_at", "club_speed_mph", "launch_deg", "spin_rpm", "carry_yd"]
CENTRES, HALF_WIDTH = np.array([70, 80, 90, 100, 110]), 5
MIN_SHOTS, THRESHOLD_YD, DISCOVERY_RATE = 12, 10, 0.10
# The second-order surface, inputs centred and scaled, and the devices' offset.
FORMULA = "carry_yd ~ (s + l + p) ** 2 + I(s**2) + I(l**2) + I(p**2) + C(device)"
CENTRE_SCALE = {"s": ("ball_speed_mph", 130, 15), "l": ("launch_deg", 13, 3), "p": ("spin_rpm", 2900, 700)}
GRID = 41  # points each of launch and of spin


def read_logs(study: Path) -> pd.DataFrame:
    """Read all logs of a study with standard columns."""
    logs = [pd.read_csv(path, dtype={"carry_yd": str, "struck_at": str}) for path in sorted(study.glob("logs/*.csv"))]
    return pd.concat(logs, ignore_index=True)


def clean(rows: pd.DataFrame) -> pd.DataFrame:
    """Drop bad rows and duplicates; add the quarter."""
    rows["carry_yd"] = pd.to_numeric(rows["carry_yd"], errors="coerce")
    rows["struck_at"] = pd.to_datetime(rows["struck_at"], format="ISO8601", errors="coerce")
    good = rows["struck_at"].notna()
    for column, (low, high) in BOUNDS.items():
        good &= rows[column].between(low, high)
    good &= (rows["ball_speed_mph"] / rows["club_speed_mph"]).between(0.8, 1.56)
    good &= rows["carry_yd"] <= 2.1 * rows["ball_speed_mph"]
    good &= (rows["launch_deg"] < 8) | (rows["carry_yd"] >= 0.5 * rows["ball_speed_mph"])
    drives = rows[good].drop_duplicates(SAME)
    texts = {name: drives[name].astype("category") for name in ("golfer", "device", "ball")}
    return drives.assign(quarter=drives["struck_at"].dt.to_period("Q").astype(str), **texts).reset_index(drop=True)


def scaled(drives: pd.DataFrame) -> pd.DataFrame:
    """Add the formula's inputs."""
    return drives.assign(**{name: (drives[c] - mid) / wide for name, (c, mid, wide) in CENTRE_SCALE.items()})


def fit(drives: pd.DataFrame) -> Any:
    """Fit the surface, errors clustered by golfer."""
    groups = pd.factorize(drives["golfer"])[0]
    return smf.ols(FORMULA, data=drives).fit(cov_type="cluster", cov_kwds={"groups": groups})


def typical(drives: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Work out golfers' typical drives."""
    with_ratio = drives.assign(ratio=drives["ball_speed_mph"] / drives["club_speed_mph"])
    return with_ratio.groupby(keys, as_index=False, observed=True).agg(
        shots=("carry_yd", "size"),
        club_speed_mph=("club_speed_mph", "mean"),
        ratio=("ratio", "median"),
        launch_deg=("launch_deg", "median"),
        spin_rpm=("spin_rpm", "median"),
        carry_yd=("carry_yd", "mean"),
        carry_p50_yd=("carry_yd", "median"),
        carry_sd_yd=("carry_yd", "std"),
    )


def efficient_carry(model: Any, golfers: pd.DataFrame, device: str) -> pd.Series:
    """Find the largest expected carry by band over the middle four fifths of its golfers' launch and of their spin."""
    best = {}
    for centre in CENTRES:
        near = golfers[golfers["club_speed_mph"].between(centre - HALF_WIDTH, centre + HALF_WIDTH)]
        launch, spin = (np.linspace(*near[name].quantile([0.1, 0.9]), GRID) for name in ("launch_deg", "spin_rpm"))
        l, p = (part.ravel() for part in np.meshgrid(launch, spin))
        ball = centre * near["ratio"].quantile(0.75)
        grid = scaled(pd.DataFrame({"ball_speed_mph": ball, "launch_deg": l, "spin_rpm": p, "device": device}))
        best[centre] = model.predict(grid).max()
    return pd.Series(best, name="efficient_carry_yd")


def resampled(drives: pd.DataFrame, golfers: pd.DataFrame, device: str, resamples: int) -> pd.DataFrame:
    """Repeat fit and efficient carry on golfers drawn with replacement; one row a resample."""
    rng = np.random.default_rng(1)
    rows = drives.groupby("golfer", observed=True).indices
    needed = drives[["carry_yd", "device", *CENTRE_SCALE]]
    by_name = golfers.set_index("golfer")
    drawn = []
    for _ in range(resamples):
        names = rng.choice(by_name.index.to_numpy(), len(by_name))
        sample = needed.iloc[np.concatenate([rows[name] for name in names])]
        drawn.append(efficient_carry(smf.ols(FORMULA, data=sample).fit(), by_name.loc[names], device))
    return pd.DataFrame(drawn)


def band_table(golfers: pd.DataFrame, efficient: pd.Series, error: pd.Series | None) -> pd.DataFrame:
    """Give percentiles of golfers' median carry by quarter and band, beside efficient carry."""
    edges = np.append(CENTRES - HALF_WIDTH, CENTRES[-1] + HALF_WIDTH)
    band = pd.cut(golfers["club_speed_mph"], edges, right=False, labels=CENTRES)
    groups = golfers.groupby(["quarter", band.rename("band_mph")], observed=True)["carry_p50_yd"]
    table = groups.quantile([0.25, 0.5, 0.75, 0.9]).unstack().rename(columns=lambda q: f"carry_p{100 * q:.0f}_yd")
    table.insert(0, "golfers", groups.size())
    table = table.reset_index().astype({"band_mph": int}).merge(efficient, left_on="band_mph", right_index=True)
    if error is not None:
        table["std_error_yd"] = table["band_mph"].map(error)
    return table.sort_values(["quarter", "band_mph"])


def lost_yards(golfers: pd.DataFrame, efficient: pd.Series, error: pd.Series | None) -> pd.DataFrame:
    """Give yards lost by golfer and quarter, tested and flagged."""
    table = golfers.copy()
    table["efficient_yd"] = np.interp(table["club_speed_mph"], efficient.index, efficient, left=np.nan, right=np.nan)
    table["lost_yd"] = table["efficient_yd"] - table["carry_yd"]
    shared = 0 if error is None else np.interp(table["club_speed_mph"], error.index, error)
    std_error = np.hypot(table["carry_sd_yd"] / np.sqrt(table["shots"]), shared)
    reach = std_error * stats.t.ppf(0.95, table["shots"] - 1)
    table["lost_lo90_yd"], table["lost_hi90_yd"] = table["lost_yd"] - reach, table["lost_yd"] + reach
    table["p_value"] = stats.t.sf((table["lost_yd"] - THRESHOLD_YD) / std_error, table["shots"] - 1)
    table.loc[table["shots"] < MIN_SHOTS, "p_value"] = np.nan
    table["q_value"] = table.groupby("quarter")["p_value"].transform(_adjusted)
    return table.assign(flagged=table["q_value"] <= DISCOVERY_RATE)


def _adjusted(p: pd.Series) -> pd.Series:
    known = p.dropna()
    return pd.Series(multipletests(known, method="fdr_bh")[1], index=known.index).reindex(p.index)


def do_it(study: Path, out: Path, resamples: int) -> dict[str, Any]:
    """Do the whole job; write bands.csv, golfers.csv, coefficients.csv and told.json."""
    seconds: dict[str, float] = {}
    with _timed(seconds, "read"):
        rows = read_logs(study)
    count = len(rows)
    with _timed(seconds, "clean"):
        drives = scaled(clean(rows))
        del rows
    with _timed(seconds, "fit"):
        model = fit(drives)
    with _timed(seconds, "bands and golfers"):
        device = drives["device"].mode()[0]
        shift = {
            name.split("T.")[1][:-1]: value for name, value in model.params.items() if name.startswith("C(device)")
        }
        away = drives["device"].map(lambda one: shift.get(one, 0.0) - shift.get(device, 0.0)).astype(float)
        moved = drives.assign(carry_yd=drives["carry_yd"] - away)
        by_quarter, golfers = typical(moved, ["golfer", "quarter"]), typical(moved, ["golfer"])
        efficient = efficient_carry(model, golfers, device)
    error = None
    if resamples:
        with _timed(seconds, "resampling"):
            error = resampled(drives, golfers, device, resamples).std()
    with _timed(seconds, "tables"):
        bands, lost = band_table(by_quarter, efficient, error), lost_yards(by_quarter, efficient, error)
        out.mkdir(parents=True, exist_ok=True)
        bands.to_csv(out / "bands.csv", index=False)
        lost.to_csv(out / "golfers.csv", index=False)
        found = pd.DataFrame({"estimate": model.params, "std_error": model.bse})
        found.to_csv(out / "coefficients.csv", index_label="term")
    told = {"rows": count, "drives": len(drives), "flagged": int(lost["flagged"].sum()), "resamples": resamples}
    told |= {"seconds": {name: round(value, 2) for name, value in seconds.items()}}
    (out / "told.json").write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")
    return told


@contextmanager
def _timed(seconds: dict[str, float], part: str) -> Iterator[None]:
    begin = time.perf_counter()
    yield
    seconds[part] = time.perf_counter() - begin


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Benchmarks and yards lost, written plainly.")
    parser.add_argument("study", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--resamples", type=int, default=200)
    given = parser.parse_args()
    print(json.dumps(do_it(given.study, given.out, given.resamples)))
