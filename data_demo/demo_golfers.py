"""The golfers of the demo study: who they are, what is planted in each and what it costs by the demo's flight."""

import numpy as np
import numpy.typing as npt
import polars as pl
from demo_flight import Array, carry_yd

QUARTERS = ("2026Q1", "2026Q2", "2026Q3")
FIRST_NAMES = (
    "Arvith",
    "Belna",
    "Corvo",
    "Dessa",
    "Elvor",
    "Fenna",
    "Gorrin",
    "Hesta",
    "Ildo",
    "Jorva",
    "Kesta",
    "Lumo",
)
LAST_NAMES = ("Ambrath", "Brunnock", "Cravell", "Dorrimar", "Eskvane", "Fallowick", "Grenholt", "Harrowen", "Istermoor")

# Typical club speed in mph of each golfer by kind. A golfer's fault is sized so that it costs what is planted.
SPEEDS: dict[str, Array] = {
    "efficient": np.linspace(66.5, 118.5, 26),
    "ordinary": np.linspace(67.5, 116.0, 21),
    "contact": np.array([72.0, 79, 86, 91, 96, 101, 107, 113]),
    "launch": np.array([69.0, 77, 84, 89, 94, 99, 105, 111]),
    "spin": np.array([75.0, 82, 88, 93, 98, 103, 108, 113]),
    "consistency": np.array([78.0, 83, 87, 92, 97, 102, 106, 112]),
    "few_shots": np.array([81.0, 90, 95, 104]),
}
LOSS_YD = {  # planted loss from the fault alone, least and most
    "efficient": (0.0, 0.0),
    "ordinary": (0.5, 21.0),
    "contact": (17.0, 26.0),
    "launch": (18.0, 30.0),
    "spin": (17.0, 21.0),
    "consistency": (22.0, 29.0),
    "few_shots": (0.0, 0.0),
}
DRIVE = ("speed_ratio", "launch_deg", "spin_rpm")  # the typical drive
SOUND_MISHITS = (0.04, 0.6)  # share and severity of the mishits that everybody has
LOWEST_RATIO = 0.9  # of the worst mishit
FAULTS = ("contact", "launch", "spin", "consistency")
CURED = ("contact", "launch", "consistency")  # the middle golfer of these kinds is efficient in 2026Q3
# A slow golfer loses 17 yd only beyond 5500 rpm, so the spin faults below this speed are too little spin.
TOO_MUCH_SPIN_FROM_MPH = 85.0
LOFT_SEED, MIX_SEED = 20261, 20263
# The full mixed fault of an ordinary golfer: a random mix of a low speed ratio, a low launch and too much spin or, in
# half of them, too little; with mishits of the usual severity, from as many as everybody has to one drive in seven.
MIX_RATIO, MIX_LAUNCH_DEG, MIX_SPIN_RPM, ORDINARY_MISHITS = -0.20, -8.0, (2500.0, -1200.0), (0.04, 0.14)


def efficient_launch_deg(speed_mph: Array) -> Array:
    """Give the launch of the planted efficient golfers: slow golfers launch higher."""
    return 16.5 - 0.05 * (speed_mph - 70)


def efficient_spin_rpm(speed_mph: Array) -> Array:
    """Give the spin of the planted efficient golfers, the best for their launch: slow golfers need more."""
    return 3100 - 9.0 * (speed_mph - 70)


EFFICIENT_SD = (0.8, 180.0)  # spread of the efficient deliveries about the curve, deg and rpm, cut at 1.4 sd
REGION_SD = 1.4  # E_true looks for the best delivery this many sd around the curve


def efficient_carry_yd(speed_mph: Array, ratio: Array) -> Array:
    """Give E_true: the best sea-level carry over the planted efficient deliveries, struck with `ratio`, in yd."""
    grid = np.linspace(-REGION_SD, REGION_SD, 9)
    d_launch, d_spin = (g.ravel() for g in np.meshgrid(grid, grid))
    inside = d_launch**2 + d_spin**2 <= REGION_SD**2 + 1e-9
    v = speed_mph[:, None]
    launch = efficient_launch_deg(v) + EFFICIENT_SD[0] * d_launch[inside]
    spin = efficient_spin_rpm(v) + EFFICIENT_SD[1] * d_spin[inside]
    return np.asarray(carry_yd(v * ratio[:, None], launch, spin).max(axis=1))


def upper_quartile_ratio(speed_mph: Array, ratio: Array) -> Array:
    """Give the ratio which the better quarter of the golfers within 5 mph reach, for each golfer."""
    near = np.abs(speed_mph[:, None] - speed_mph[None, :]) <= 5
    return np.nanquantile(np.where(near, ratio[None, :], np.nan), 0.75, axis=1)


def mishit(rng: np.random.RandomState, severity: Array) -> tuple[Array, Array, Array]:
    """Draw what mishits do: what the speed ratio loses, the shift of launch in deg, the factor on spin."""
    n = severity.shape
    drop = severity * rng.uniform(0.08, 0.30, n)
    return drop, severity * 3.5 * rng.standard_normal(n), np.exp(severity * 0.25 * rng.standard_normal(n))


def mishit_loss_yd(rows: pl.DataFrame, severity: Array, draws: int = 200) -> Array:
    """Give the mean sea-level loss of one mishit against the sound typical drive, in yd."""
    s = np.repeat(severity[:, None], draws, axis=1)
    drop, shift, factor = mishit(np.random.RandomState(1), s[:1] * 0 + 1)  # the same unit draws for every golfer
    v, r, a, w = (rows[c].to_numpy()[:, None] for c in ("club_speed_mph", "speed_ratio", "launch_deg", "spin_rpm"))
    bad = carry_yd(
        v * np.maximum(r - s * drop, LOWEST_RATIO), np.clip(a + s * shift, 2, 30), np.clip(w * factor**s, 900, 9000)
    )
    return np.asarray(carry_yd(v * r, a, w)[:, 0] - bad.mean(axis=1))


def solve(sizes: Array, loss_yd: Array, target_yd: Array) -> Array:
    """Find each golfer's fault size; `sizes` and `loss_yd` are golfers by trial sizes, losses rising with size.

    Raises
    ------
    ValueError
        If a target lies beyond the largest trial size: the fault can't cost that much at this speed.
    """
    if (loss_yd[:, -1] < target_yd).any() or (loss_yd[:, 0] > target_yd).any():
        raise ValueError("a planted loss can't be reached within believable deliveries; choose other speeds")
    return np.array([np.interp(t, y, x) for x, y, t in zip(sizes, loss_yd, target_yd, strict=True)])


def golfer_rows(rng: np.random.RandomState) -> pl.DataFrame:
    """Draw the golfers: one row per golfer and quarter with kind, speed, site, shots, target loss, gainer."""
    kinds = np.repeat(list(SPEEDS), [len(v) for v in SPEEDS.values()])
    speeds = np.concatenate(list(SPEEDS.values()))
    n = len(kinds)
    pairs = rng.permutation(len(FIRST_NAMES) * len(LAST_NAMES))[:n]
    names = np.array([f"{FIRST_NAMES[p % len(FIRST_NAMES)]} {LAST_NAMES[p // len(FIRST_NAMES)]}" for p in pairs])
    numbered = rng.permutation(n)[:8]
    names[numbered] = (1040 + 7 * np.arange(8)).astype(str)
    home = np.where(rng.uniform(size=n) < 0.58, "bay", "fell")
    mover = rng.permutation(n)[:5]
    gainer = np.isin(np.arange(n), rng.permutation(n)[:6])
    base = speeds + rng.uniform(-1.2, 1.2, n)
    dev = np.clip(rng.standard_normal((4, n)), -1.4, 1.4)
    low, high = (np.array([LOSS_YD[k][i] for k in kinds]) for i in (0, 1))
    target = rng.uniform(low, high)
    ordinary = np.flatnonzero(kinds == "ordinary")
    # From good to poor without gaps, at any speed.
    spread = np.linspace(*LOSS_YD["ordinary"], len(ordinary))
    target[ordinary] = np.random.RandomState(MIX_SEED).permutation(spread)
    middle = {k: np.flatnonzero(kinds == k)[4] for k in FAULTS}
    absent = rng.uniform(size=(3, n)) < 0.09
    absent[:, [middle[k] for k in CURED]] = False
    absent[2, np.isin(kinds, FAULTS)] = False  # the newest quarter is the one that is looked at most
    few = np.flatnonzero(kinds == "few_shots")
    frames = []
    for q, quarter in enumerate(QUARTERS):
        speed = base + 0.4 * rng.standard_normal(n) * q + np.where(gainer, 1.5 * q, 0.0)
        shots = np.clip(np.rint(41 + 8 * rng.standard_normal(n)), 15, 60).astype(int)
        kind, loss = kinds.copy(), target.copy()
        if q == 2:
            cured = [middle[k] for k in CURED]
            kind[cured], loss[cured] = "efficient", 0.0
        scarce = few[:1] if q == 0 else few[1:] if q == 2 else few[:0]
        kind[few] = "efficient"
        kind[scarce], shots[scarce] = "few_shots", rng.randint(5, 12, len(scarce))
        absent[q, few] = False
        site = np.where(np.isin(np.arange(n), mover) & (q == 2), np.where(home == "bay", "fell", "bay"), home)
        frame = {
            "golfer": names,
            "quarter": [quarter] * n,
            "site": site,
            "kind": kind,
            "shots": shots,
            "gainer": gainer,
        }
        numbers = {"club_speed_mph": speed.round(2), "target_yd": loss, **{f"dev{i}": dev[i] for i in range(4)}}
        frames.append(pl.DataFrame({**frame, **numbers}).filter(~pl.Series(absent[q])))
    return pl.concat(frames)


def stated_loft_deg(rows: pl.DataFrame) -> Array:
    """Give the stated loft of each golfer's club, the same in every quarter; slow golfers have more."""
    first = rows.group_by("golfer", maintain_order=True).agg(pl.col("club_speed_mph").first())
    luck = np.random.RandomState(LOFT_SEED).standard_normal(len(first))  # a stream of its own: it moves no other value
    loft = 10.5 - 0.05 * (first["club_speed_mph"].to_numpy() - 90) + 0.7 * luck
    own = first.select("golfer", loft_deg=pl.Series(np.clip(np.rint(2 * loft) / 2, 8.0, 14.0)))
    return np.asarray(rows.select("golfer").join(own, on="golfer", how="left", maintain_order="left")["loft_deg"])


def by_golfer(rows: pl.DataFrame, between: tuple[float, float], seed: int) -> Array:
    """Draw a number evenly between two for each golfer, the same in every quarter; a stream of its own."""
    first = rows.select("golfer").unique(maintain_order=True)
    drawn = first.with_columns(x=pl.Series(np.random.RandomState(seed).uniform(*between, len(first))))
    return np.asarray(rows.select("golfer").join(drawn, on="golfer", how="left", maintain_order="left")["x"])


def ordinary_mix(rows: pl.DataFrame) -> tuple[Array, Array, Array]:
    """Give what the full mixed fault changes in each golfer's ratio, launch and spin, as if ordinary."""
    parts = np.stack([by_golfer(rows, (0.1, 1.0), MIX_SEED + k) for k in (2, 3, 4)])
    spin = np.where(rows["dev3"].to_numpy() > 0, *MIX_SPIN_RPM)
    return MIX_RATIO * parts[0], MIX_LAUNCH_DEG * parts[1], spin * parts[2]


def size_fault(
    rows: pl.DataFrame, kind: str, d_ratio: npt.ArrayLike, d_launch_deg: npt.ArrayLike, d_spin_rpm: npt.ArrayLike
) -> pl.DataFrame:
    """Move the typical drive of the golfers of one kind from sound towards the full fault, until it costs the target.

    `d_ratio`, `d_launch_deg` and `d_spin_rpm` (one, or one per row) are what the full fault changes.
    """
    who = (rows["kind"] == kind).to_numpy()
    part = rows.filter(who)
    t = np.linspace(0, 1, 41)[None, :]
    changes = [np.broadcast_to(np.asarray(d, float), who.shape)[who] for d in (d_ratio, d_launch_deg, d_spin_rpm)]
    v, r, a, w = (part[c].to_numpy()[:, None] for c in ("club_speed_mph", *DRIVE))
    by_ratio, by_launch, by_spin = (t * change[:, None] for change in changes)
    lost = carry_yd(v * r, a, w) - carry_yd(v * (r + by_ratio), a + by_launch, w + by_spin)
    size = solve(np.repeat(t, len(part), axis=0), np.maximum.accumulate(lost, axis=1), part["target_yd"].to_numpy())
    moved = {c: rows[c].to_numpy().copy() for c in DRIVE}
    for column, change in zip(DRIVE, changes, strict=True):
        moved[column][who] += size * change
    return rows.with_columns(**{c: pl.Series(x) for c, x in moved.items()})


def size_mishits(rows: pl.DataFrame) -> pl.DataFrame:
    """Give every golfer a share and a severity of mishits; those of the consistency kind cost the target."""
    v, kind = rows["club_speed_mph"].to_numpy(), rows["kind"].to_numpy()
    who = kind == "consistency"
    share = np.where(kind == "ordinary", by_golfer(rows, ORDINARY_MISHITS, MIX_SEED + 1), SOUND_MISHITS[0])
    share[who] = 0.36 - 0.0025 * (v[who] - 75)
    share = share.round(3)
    part, n = rows.filter(who), int(who.sum())
    trials = np.linspace(SOUND_MISHITS[1], 3.0, 13)
    lost = np.stack([mishit_loss_yd(part, np.full(n, s)) for s in trials], axis=1)
    extra = share[who][:, None] * lost - SOUND_MISHITS[0] * lost[:, :1]
    severity = np.full(len(v), SOUND_MISHITS[1])
    severity[who] = solve(np.repeat(trials[None, :], n, axis=0), extra, part["target_yd"].to_numpy())
    return rows.with_columns(mishit_share=pl.Series(share), mishit_severity=pl.Series(severity.round(3)))


def planted_loss_yd(rows: pl.DataFrame) -> Array:
    """Work out what each golfer's fault alone costs: sound against typical drive, and mishits beyond the sound share.

    Parameters
    ----------
    rows : DataFrame
        Golfers with the columns of truth.csv.

    Returns
    -------
    ndarray
        Loss at sea level in yd, one per row.
    """
    v, r, a, w = (rows[c].to_numpy() for c in ("club_speed_mph", "sound_ratio", "sound_launch_deg", "sound_spin_rpm"))
    ratio, launch, spin = (rows[c].to_numpy() for c in DRIVE)
    share, severity = rows["mishit_share"].to_numpy(), rows["mishit_severity"].to_numpy()
    extra = np.zeros(len(v))
    more = share > SOUND_MISHITS[0]
    part = rows.filter(more)
    usual = SOUND_MISHITS[0] * mishit_loss_yd(part, np.full(len(part), SOUND_MISHITS[1]))
    extra[more] = share[more] * mishit_loss_yd(part, severity[more]) - usual
    return np.asarray(carry_yd(v * r, a, w) - carry_yd(v * ratio, launch, spin) + extra)


def plant(rows: pl.DataFrame) -> pl.DataFrame:
    """Give every golfer the typical drive that costs what is planted, and say what it costs by the flight."""
    v = rows["club_speed_mph"].to_numpy()
    launch = efficient_launch_deg(v) + EFFICIENT_SD[0] * rows["dev1"].to_numpy()
    spin = efficient_spin_rpm(v) + EFFICIENT_SD[1] * rows["dev2"].to_numpy()
    sound = ((1.475 + 0.005 * rows["dev0"].to_numpy()).round(4), launch.round(2), spin.round(0))
    rows = rows.with_columns(
        **{c: pl.Series(x) for c, x in zip(("sound_ratio", "sound_launch_deg", "sound_spin_rpm"), sound, strict=True)},
        **{c: pl.Series(x) for c, x in zip(DRIVE, sound, strict=True)},
    )
    rows = size_fault(rows, "contact", -0.25, 0, 0)
    rows = size_fault(rows, "launch", 0, -13, 0)
    rows = size_fault(rows, "spin", 0, 0, np.where(v > TOO_MUCH_SPIN_FROM_MPH, 4000, 1050 - sound[2]))
    rows = size_fault(rows, "ordinary", *ordinary_mix(rows))
    rows = size_mishits(rows.with_columns(pl.col(c).round(d) for c, d in zip(DRIVE, (4, 2, 0), strict=True)))
    quartile = upper_quartile_ratio(v, rows["speed_ratio"].to_numpy())
    return rows.with_columns(
        planted_loss_yd=pl.Series(planted_loss_yd(rows).round(3) + 0.0),
        efficient_yd=pl.Series(efficient_carry_yd(v, quartile).round(3)),
    )
