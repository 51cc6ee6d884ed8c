"""Small invented worlds whose regressors are known: nuisances that do nothing, and an attack angle that does something.

Golfers differ for good in how far they carry, and are unequally often seen: that is what errors by golfer must bear.
"""

import numpy as np
import polars as pl

NUISANCES = ("by_drive", "by_golfer", "by_both")
ATTACK_SHARE = 0.004  # of carry, for a degree of attack, beyond launch and spin


def true_carry_yd(ball_mph, launch_deg, spin_rpm):
    """Carry in an invented closed form: a parabola about the best launch and spin."""
    return 1.68 * ball_mph - 0.25 * (launch_deg - 14) ** 2 - 8e-6 * (spin_rpm - 2500) ** 2


def regressor_world(seed, golfers=40, shots=20, attack_share=0.0, confounded=0.0, golfer_sd=0.015, misread=0.0):
    """Draw drives with attack_deg, and regressors that do nothing: one by drive, one by golfer, one by both.

    `confounded` is the share of carry that golfers have for a degree of their mean attack, for other reasons than it.
    `misread` is the error of the readings of launch, deg; that of spin is a tenth of it, as a share.
    """
    rng = np.random.default_rng([seed, 19])
    count = rng.integers(shots // 2, 2 * shots, golfers)
    who = np.repeat(np.arange(golfers), count)
    n = len(who)
    speed = rng.uniform(70, 115, golfers)
    mean_attack = rng.normal(0, 2.5, golfers)
    attack = mean_attack[who] + rng.normal(0, 1.2, n)
    launch = 14 - 0.04 * (1.46 * speed[who] - 135) + 0.5 * attack + rng.normal(0, 1.2, golfers)[who]
    launch += rng.normal(0, 0.8, n)
    spin = (2600 - 12 * (1.46 * speed - 135) + rng.normal(0, 300, golfers))[who] - 60 * attack
    spin += rng.normal(0, 180, n)
    club = speed[who] * rng.normal(1, 0.012, n)
    ball = club * (rng.normal(1.46, 0.02, golfers)[who] + rng.normal(0, 0.012, n))
    device = np.where(np.arange(golfers) % 3 == 0, "unit-B", "unit-A")[who]
    flown = true_carry_yd(ball, launch, spin)
    own = rng.normal(0, golfer_sd, golfers) + confounded * mean_attack
    share = 0.03 * (device == "unit-B") + attack_share * attack
    nuisance = rng.normal(0, 1, golfers)
    error = np.random.default_rng([seed, 20]).normal(0, misread, (2, n))
    return pl.DataFrame(
        {
            "golfer": np.char.add("g", np.char.zfill(who.astype(str), 4)),
            "quarter": "2026Q3",
            "device": device,
            "ball": "premium",
            "club_speed_mph": club,
            "ball_speed_mph": ball,
            "launch_deg": launch + error[0],
            "spin_rpm": spin * (1 + 0.1 * error[1]),
            "carry_standard_yd": flown * (1 + share + own[who]) + rng.normal(0, 3.0, n),
            "flown_yd": 0.97 * flown,
            "spin_measured": True,
            "attack_deg": attack,
            "by_drive": rng.normal(50, 10, n),
            "by_golfer": 170 + 8 * nuisance[who],
            "by_both": 20 + 4 * rng.normal(0, 1, golfers)[who] + rng.normal(0, 4, n),
        }
    )
