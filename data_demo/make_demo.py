"""Make the demo study's logs, truth.csv, planted.json and sums: an invented academy with planted golfers and faults.

`python data_demo/make_demo.py [FOLDER]` writes the same bytes on every run (one seed, numpy's frozen RandomState
streams). Nothing here uses the `pipeline` package: this simulator is the outside truth that the pipeline is held
against. Its flight rests on the example regression of US patent 6,186,002 B1 (2001; second-hand) with the spin decay
of Smits and Smith (1994); every golfer, site and device is invented.
"""

import hashlib
import hmac
import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from demo_direction import (
    ATTACK_OWN_SD_DEG,
    ATTACK_SD_DEG,
    attack_of_swing,
    even_normals,
    plant_directions,
    planted_of,
    readings,
    swing,
)
from demo_flight import MPH_MPS, YARD_M, Array, carry_yd, land_yd
from demo_golfers import LOWEST_RATIO, QUARTERS, golfer_rows, mishit, plant, stated_loft_deg
from demo_practice import make_practice

HERE = Path(__file__).resolve().parent

SEED = 20260
FIRST_DAYS = ("2026-01-05", "2026-04-07", "2026-07-01")  # each quarter's 80 days of play stay inside the quarter
SITES = {  # altitude m, air temperature deg C, by what share the device over-reads carry
    "bay": (12.0, 18.0, 0.0),
    "fell": (900.0, 14.0, -0.02),
}
DIRECTION_SEED, TRUTH_SEED, TRUTH_DRAWS = 20266, 20267, 400  # of drives' directions; of what truth.csv says of them
# A day's form, the same for all drives of a golfer's session: club speed as a share, ratio, launch in deg.
FORM_SEED, FORM_SPEED_SD, FORM_RATIO_SD, FORM_LAUNCH_SD_DEG = 20264, 0.006, 0.005, 0.4

# --- a shot's scatter and its reading ----------------------------------------------------------------------------
SPEED_SD, RATIO_SD, LAUNCH_SD_DEG, SPIN_SD = 0.015, 0.015, 1.2, 0.08
READ_SPEED_SD, READ_LAUNCH_SD_DEG, READ_SPIN_SD, READ_CARRY_SD = 0.005, 0.3, 0.03, 0.01


def hit(rng: np.random.RandomState, rows: pl.DataFrame) -> pl.DataFrame:
    """Hit every golfer's drives: true launch and sea-level carry, and what the site's device reads and when."""
    g = np.repeat(np.arange(len(rows)), rows["shots"].to_numpy())
    rank = np.arange(len(g)) - np.searchsorted(g, g)
    v, r, a, w, share, severity = (
        rows[c].to_numpy()[g]
        for c in ("club_speed_mph", "speed_ratio", "launch_deg", "spin_rpm", "mishit_share", "mishit_severity")
    )
    n = len(g)
    typical_launch = a
    # Three sessions a golfer and quarter.
    session = rank * 3 // rows["shots"].to_numpy()[g]
    form = np.random.RandomState(FORM_SEED).standard_normal((3, len(rows), 3)).clip(-1.6, 1.6)[:, g, session]
    v = v * (1 + FORM_SPEED_SD * form[0])
    r, a = r + FORM_RATIO_SD * form[1], a + FORM_LAUNCH_SD_DEG * form[2]
    normal = rng.standard_normal((4, n))
    # The number of mishits is the share times the shots, up or down to a whole number, spread over the sessions.
    turn = rank * share + rng.uniform(size=len(rows))[g]
    bad = np.floor(turn + share) > np.floor(turn)
    drop, shift, factor = mishit(rng, severity)
    club = v * (1 + SPEED_SD * normal[0])
    ratio = np.maximum(r + RATIO_SD * np.minimum(normal[1], 1.9) - np.where(bad, drop, 0), LOWEST_RATIO)
    launch = np.clip(a + LAUNCH_SD_DEG * normal[2] + np.where(bad, shift, 0), 2, 30)
    spin = np.clip(w * np.exp(SPIN_SD * normal[3]) * np.where(bad, factor, 1), 900, 9000)
    straight = carry_yd(club * ratio, launch, spin)
    site = rows["site"].to_numpy()[g]
    read = rng.standard_normal((7, n))
    # Directions have a stream of their own, and none where the device reads none: there drives fly straight.
    luck = np.random.RandomState(DIRECTION_SEED)
    own = attack_of_swing(luck, read[1])
    normal_side = luck.standard_normal((4, n))
    normal_side[3] = luck.standard_normal((len(rows), 3))[g, session]
    swings = swing(tuple(x[g] for x in planted_of(rows)), typical_launch, launch, own, normal_side)
    side, axis = np.nan_to_num(swings.side_deg), np.nan_to_num(swings.axis_deg)
    true, _ = land_yd(club * ratio, launch, spin, side, axis)
    flown, offline = np.zeros(n), np.zeros(n)
    for name, (altitude_m, temp_c, share_long) in SITES.items():
        here = site == name
        start = ((club * ratio)[here], launch[here], spin[here], side[here], axis[here])
        flown[here], offline[here] = land_yd(*start, altitude_m, temp_c)
        flown[here] = flown[here] * (1 + READ_CARRY_SD * read[0][here]) * (1 + share_long)
    attack = 0.6 * (typical_launch - 13) + 0.3 * (launch - typical_launch) + ATTACK_SD_DEG * read[1]
    run = np.clip(26 - 0.9 * (launch - 13) - 0.006 * (spin - 2700) + 1.5 * read[2], 3, 45)  # simple, no source
    # A drive about every 40 s.
    day = np.sort(rng.randint(0, 80, (len(rows), 3)), axis=1)[g, session]
    begin = rng.randint(8 * 3600, 12 * 3600, (len(rows), 3))[g, session] + 3 * 3600 * session
    second = begin + rank * 40 + rng.randint(0, 25, n)
    first = np.array(FIRST_DAYS, "datetime64[ms]")[np.searchsorted(QUARTERS, rows["quarter"].to_numpy())[g]]
    return pl.DataFrame(
        {
            **{c: rows[c].to_numpy()[g] for c in ("golfer", "quarter", "site")},
            "index": g,
            "struck_at": first + (1000 * (day * 86400 + second)).astype("timedelta64[ms]"),
            "club_speed_mph": club * (1 + READ_SPEED_SD * read[3]),
            "ball_speed_mph": club * ratio * (1 + READ_SPEED_SD * read[4]),
            "launch_deg": launch + READ_LAUNCH_SD_DEG * read[5],
            "spin_rpm": spin * (1 + READ_SPIN_SD * read[6]),
            "carry_yd": flown,
            "total_yd": flown + run,
            "attack_deg": attack,
            "loft_deg": stated_loft_deg(rows)[g],
            **readings(luck, swings, offline),
            "true_carry_yd": true,
            "true_curve_yd": straight - true,
        }
    )


def offline_truth(rows: pl.DataFrame) -> tuple[Array, Array]:
    """Give mean and standard deviation of offline over the drives that each golfer might hit in the quarter, yd.

    Days differ in it too. In the bay's air; NaN for golfers at the fell, whose directions nobody reads.
    """
    here = (rows["site"] == "bay").to_numpy()
    bay = rows.filter(here)
    rng = np.random.RandomState(TRUTH_SEED)
    luck = even_normals(rng, 12, TRUTH_DRAWS)[:, None, :]  # the same luck for every golfer
    turn = rng.permutation(TRUTH_DRAWS) / TRUTH_DRAWS
    v, r, a, w, share, severity = (
        bay[c].to_numpy()[:, None]
        for c in ("club_speed_mph", "speed_ratio", "launch_deg", "spin_rpm", "mishit_share", "mishit_severity")
    )
    bad = turn < share
    drop, shift, factor = mishit(rng, severity * np.ones(TRUTH_DRAWS))
    club = v * (1 + FORM_SPEED_SD * luck[0]) * (1 + SPEED_SD * luck[1])
    ratio = r + FORM_RATIO_SD * luck[2] + RATIO_SD * np.minimum(luck[3], 1.9) - np.where(bad, drop, 0)
    launch = a + FORM_LAUNCH_SD_DEG * luck[4] + LAUNCH_SD_DEG * luck[5] + np.where(bad, shift, 0)
    launch = np.clip(launch, 2, 30)
    spin = np.clip(w * np.exp(SPIN_SD * luck[6]) * np.where(bad, factor, 1), 900, 9000)
    planted = tuple(x[:, None] for x in planted_of(bay))
    swings = swing(planted, a, launch, ATTACK_OWN_SD_DEG * luck[7], luck[8:])
    speed = club * np.maximum(ratio, LOWEST_RATIO)
    altitude_m, temp_c, _ = SITES["bay"]
    _, offline = land_yd(speed, launch, spin, swings.side_deg, swings.axis_deg, altitude_m, temp_c)
    mean, sd = (np.full(len(rows), np.nan) for _ in range(2))
    mean[here], sd[here] = offline.mean(axis=1), offline.std(axis=1)
    return mean, sd


def faulty(kind: str, column: str) -> dict[str, pl.Expr]:
    """Give the edits that make a sound reading break one rule and no other."""
    club, ball = pl.col("club_speed_mph"), pl.col("ball_speed_mph")
    edits: dict[str, dict[str, pl.Expr]] = {
        "speed_ratio_too_high": {"ball_speed_mph": 1.65 * club},
        "speed_ratio_too_low": {
            "ball_speed_mph": 0.7 * club, "carry_yd": 0.85 * club, "total_yd": 0.85 * club + 15,
        },
        "carry_too_long_for_ball_speed": {"carry_yd": 2.3 * ball, "total_yd": 2.3 * ball + 15},
        "carry_too_short_for_ball_speed": {"carry_yd": 0.3 * ball, "total_yd": 0.3 * ball + 15},
        "too_high spin_rpm": {"spin_rpm": pl.lit(15000.0)},
        "too_low spin_rpm": {"spin_rpm": pl.lit(90.0)},
        "too_high launch_deg": {"launch_deg": pl.lit(62.0)},
        "too_high club_speed_mph": {"club_speed_mph": pl.lit(172.0), "ball_speed_mph": pl.lit(240.0)},
        "too_low club_speed_mph": {
            "club_speed_mph": pl.lit(24.0), "ball_speed_mph": pl.lit(34.0),
            "carry_yd": pl.lit(45.0), "total_yd": pl.lit(50.0),
        },
        "too_low carry_yd": {"launch_deg": pl.lit(4.0), "carry_yd": pl.lit(2.5), "total_yd": pl.lit(6.0)},
    }  # fmt: skip
    return edits.get(kind, edits.get(f"{kind} {column}", {}))


BAD_ROWS = (
    ("speed_ratio_too_high", "ball_speed_mph"), ("missing", "carry_yd"), ("too_high", "spin_rpm"),
    ("carry_too_long_for_ball_speed", "carry_yd"), ("not_a_number", "launch_deg"), ("not_a_time", "struck_at"),
    ("too_high", "club_speed_mph"), ("speed_ratio_too_low", "ball_speed_mph"), ("missing", "golfer"),
    ("carry_too_short_for_ball_speed", "carry_yd"), ("not_a_number", "carry_yd"), ("too_low", "spin_rpm"),
    ("missing", "spin_rpm"), ("too_low", "club_speed_mph"), ("too_high", "launch_deg"), ("missing", "struck_at"),
    ("not_a_number", "club_speed_mph"), ("too_low", "carry_yd"), ("missing", "club_speed_mph"),
)  # fmt: skip
BAD_PER_LOG = 7
OVERLAP_ROWS = 60  # the last rows of bay's first quarter, which the export of its second quarter holds again
REMARKS = np.array(["", "", "", "", "neue Matte", "Ball gewechselt", "Tee niedrig"])

# The foreign log's own headers, units (value there = factor * standard value) and decimals.
FELL = {
    "golfer": ("Spieler", 0.0, 0),
    "struck_at": ("Zeitpunkt", 0.0, 0),
    "club_speed_mph": ("Schlägertempo m/s", MPH_MPS, 2),
    "ball_speed_mph": ("Balltempo m/s", MPH_MPS, 2),
    "launch_deg": ("Abflug Grad", 1.0, 1),
    "spin_rpm": ("Rückdrall 1/s", 1 / 60, 2),
    "carry_yd": ("Flugweite m", YARD_M, 1),
    "attack_deg": ("Treffwinkel Grad", 1.0, 1),
}
BAY_DECIMALS = {
    "club_speed_mph": 1, "ball_speed_mph": 1, "launch_deg": 1, "spin_rpm": 0, "carry_yd": 1, "total_yd": 1,
    "attack_deg": 1, "loft_deg": 1,
}  # fmt: skip
BAY_DIRECTIONS = ("path_deg", "face_deg", "plane_deg", "launch_side_deg", "spin_axis_deg", "offline_yd")  # 1 decimal


def as_text(site: str, shots: pl.DataFrame, rng: np.random.RandomState) -> pl.DataFrame:
    """Write readings as the site's device does: every cell text, under the standard column names."""

    def number(column: str, factor: float, decimals: int) -> pl.Series:
        text = pl.Series(np.char.mod(f"%.{decimals}f", shots[column].to_numpy() * factor))
        return text.str.replace(".", ",", literal=True) if site == "fell" else text

    n = len(shots)
    when = shots["struck_at"].dt.strftime("%d.%m.%Y %H:%M:%S" if site == "fell" else "%Y-%m-%dT%H:%M:%S")
    own = {"golfer": shots["golfer"], "struck_at": when}
    if site == "bay":
        texts = {c: number(c, 1.0, d) for c, d in BAY_DECIMALS.items()}
        place = {"device": ["unit-A"] * n, "bay_no": rng.randint(1, 9, n).astype(str)}
        return pl.DataFrame({**own, **texts, **place, **{c: number(c, 1.0, 1) for c in BAY_DIRECTIONS}})
    texts = {c: number(c, f, d) for c, (_, f, d) in FELL.items() if f}
    extra = {"Matte": rng.randint(1, 5, n).astype(str), "Bemerkung": REMARKS[rng.randint(0, len(REMARKS), n)]}
    return pl.DataFrame({**own, **texts, **extra}).with_columns(pl.col("Bemerkung").replace("", None))


def make_log(
    site: str, shots: pl.DataFrame, first_fault: int, overlap: pl.DataFrame | None, rng: np.random.RandomState
) -> tuple[pl.DataFrame, pl.DataFrame, dict[str, Any]]:
    """Make one log: its cells as text with bad rows and duplicates, its sound cells, and what was planted.

    `first_fault` turns the list of bad rows so that the logs share it out; `overlap` holds cells of another log
    that this one repeats at its beginning.
    """
    shots = shots.sort("struck_at", "golfer", maintain_order=True)
    good = as_text(site, shots, rng).with_columns(order=pl.int_range(pl.len()).cast(pl.Float64))
    plain = np.flatnonzero(
        shots.select(
            pl.col("club_speed_mph").is_between(85, 106) & pl.col("launch_deg").is_between(10, 18)
            & (pl.col("ball_speed_mph") / pl.col("club_speed_mph")).is_between(1.42, 1.52)
        ).to_series().to_numpy()
    )  # fmt: skip
    chosen = np.sort(rng.permutation(plain)[:BAD_PER_LOG])
    parts = [good.with_columns(rule=pl.lit("good"), column=pl.lit(None, pl.String))]
    for k, at in enumerate(chosen):
        rule, column = BAD_ROWS[(first_fault + k) % len(BAD_ROWS)]
        reading = shots[int(at) : int(at) + 1].with_columns(**faulty(rule, column))
        cells = as_text(site, reading.with_columns(pl.col("struck_at") + pl.duration(seconds=9)), rng)
        wrong = {"missing": None, "not_a_number": "abc", "not_a_time": "not noted"}
        if rule in wrong:
            cells = cells.with_columns(pl.lit(wrong[rule], pl.String).alias(column))
        parts.append(cells.with_columns(order=pl.lit(at + 0.3), rule=pl.lit(rule), column=pl.lit(column)))
    again = good[np.sort(rng.permutation(len(good))[: rng.randint(4, 9)])].with_columns(pl.col("order") + 2.5)
    parts.append(again.with_columns(rule=pl.lit("duplicate"), column=pl.lit(None, pl.String)))
    if overlap is not None:
        early = overlap.with_columns(order=pl.lit(-1.0), rule=pl.lit("duplicate"), column=pl.lit(None, pl.String))
        parts.insert(0, early)
    full = pl.concat(parts).sort("order", maintain_order=True).with_row_index("row", offset=1)
    bad = full.filter(~pl.col("rule").is_in(["good", "duplicate"]))
    planted = {
        "rows": len(full),
        "accepted": len(good),
        "rejected": bad.select("row", "rule", "column").to_dicts(),
        "duplicates": full.filter(pl.col("rule") == "duplicate")["row"].to_list(),
    }
    return full.drop("row", "order", "rule", "column"), good.drop("order"), planted


def make(folder: Path) -> None:
    """Write logs/*.csv, truth.csv, planted.json and speed/ into `folder`."""
    rng = np.random.RandomState(SEED)
    rows = plant_directions(plant(golfer_rows(rng)))
    shots = hit(rng, rows)
    index, count = shots["index"].to_numpy(), rows["shots"].to_numpy()
    means, curve = (
        pl.Series(np.bincount(index, shots[name].to_numpy()) / count) for name in ("true_carry_yd", "true_curve_yd")
    )
    mean, sd = offline_truth(rows)
    directions = ("direction_kind", "path_deg", "face_to_path_deg", "plane_deg", "spread_factor")
    truth = rows.drop("target_yd", "dev0", "dev1", "dev2", "dev3", "gainer", *directions).with_columns(
        true_carry_yd=means.round(3),
        true_lost_yd=(pl.col("efficient_yd") - means).round(3),
        **{name: rows[name] for name in directions},
        true_curve_yd=pl.when(rows["site"] == "bay").then(curve.round(3)),
        offline_mean_yd=pl.Series(mean).fill_nan(None).round(2),
        offline_sd_yd=pl.Series(sd).fill_nan(None).round(2),
    )
    (folder / "logs").mkdir(parents=True, exist_ok=True)
    truth.write_csv(folder / "truth.csv")
    planted: dict[str, Any] = {}
    overlap = None
    for q, quarter in enumerate(QUARTERS):
        for s, site in enumerate(SITES):
            here = shots.filter((pl.col("quarter") == quarter) & (pl.col("site") == site))
            first_fault = BAD_PER_LOG * (2 * q + s)
            earlier = overlap if (site, q) == ("bay", 1) else None
            log, good, told = make_log(site, here, first_fault, earlier, rng)
            if (site, q) == ("bay", 0):
                overlap = good.tail(OVERLAP_ROWS)
            name = f"logs/{site}_{quarter.lower()}.csv"
            planted[name] = told
            if site == "fell":
                log = log.rename({c: header for c, (header, _, _) in FELL.items()})
            log.write_csv(folder / name, separator=";" if site == "fell" else ",")
    (folder / "planted.json").write_text(json.dumps(planted, indent=1) + "\n", encoding="utf-8", newline="\n")
    make_practice(folder, rows)


def write_sums(folder: Path, path: Path) -> None:
    """Write the sums of the demo's logs, and the fingerprint of its key, by which the public key serves them alone."""
    digits = (HERE / "private" / "pseudonym.key").read_text(encoding="utf-8").split()[-1]
    found = {
        # As pipeline/collect/key.py takes it.
        "key": hmac.new(bytes.fromhex(digits), b"yardband: the key of a run", hashlib.sha256).hexdigest()[:16],
        "logs": {
            log.relative_to(folder).as_posix(): hashlib.sha256(log.read_bytes()).hexdigest()
            for log in sorted([*folder.glob("logs/*.csv"), *folder.glob("speed/*.csv")])
        },
    }
    path.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    # Elsewhere the sums stand beside the logs; the package's own are of the demo as it comes.
    place = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE
    make(place)
    write_sums(place, HERE.parent / "pipeline/collect/demo_logs.json" if place == HERE else place / "demo_logs.json")
