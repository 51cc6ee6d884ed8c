import numpy as np
import polars as pl
import pytest
from days import on_days
from fitting import candidate_named
from frontiers import frontier_at, one_error
from scipy import stats

from pipeline.golfers.doubt import Doubt
from pipeline.golfers.flags import FlagRules, assess
from pipeline.golfers.losses import known_losses
from pipeline.golfers.quarter_changes import changes_of
from pipeline.golfers.ranking import ranked
from pipeline.golfers.shared_errors import SharedErrors
from pipeline.report.page.counts import states_of
from pipeline.shown import number_text
from pipeline.tables.golfers import Changes

RULES = FlagRules(lost_yd=10, false_discovery_rate=0.10, min_shots=12)


def lost_table(
    quarter, lost_yd, own_variance, shots, speed_mph=95.0, first=0, exposure=0.0, form_variance=0.0, form_freedom=np.inf
):
    """What `known_losses` gives, with all that is lost going by contact."""
    n = len(lost_yd)
    table = pl.DataFrame(
        {
            "golfer": [f"g{first + i:016x}" for i in range(n)],
            "quarter": quarter,
            "shots": np.broadcast_to(np.asarray(shots, dtype=np.int64), n),
            "club_speed_mph": np.broadcast_to(np.asarray(speed_mph, dtype=float), n),
            "ball_speed_mph": 138.0,
            "launch_deg": 13.0,
            "spin_rpm": 2600.0,
            "carry_yd": 240.0 - np.asarray(lost_yd),
            "efficient_yd": 240.0,
            "lost_yd": np.asarray(lost_yd, dtype=float),
            "lost_contact_yd": np.asarray(lost_yd, dtype=float),
            "lost_launch_yd": 0.0,
            "lost_spin_yd": 0.0,
            "lost_consistency_yd": 0.0,
            "lost_other_yd": 0.0,
            "own_variance": np.broadcast_to(np.asarray(own_variance, dtype=float), n),
            "own_freedom": np.broadcast_to(np.asarray(shots, dtype=float) - 1, n),
            "own_skewness": np.zeros(n),
            "exposure": np.broadcast_to(np.asarray(exposure, dtype=float), n),
            "form_variance": form_variance,
            "form_freedom": form_freedom,
            "form_source": "days",
            "shared_variance": 0.0,
            "uncompared_variance": 0.0,
            "moved_yd": 0.0,
            "uncompared_note": pl.Series([None] * n, dtype=pl.String),
            "shared_freedom": np.inf,
        }
    )
    error, freedom = Doubt.of(table).of_figure()
    return table.with_columns(std_error_yd=error, freedom=freedom)


EXACT = one_error(frontier_at(np.arange(60.0, 121.0), std_error_yd=0.0))


def compared(*tables, rules=RULES, shared=EXACT):
    lost = ranked(pl.concat(tables)).sort("golfer", "quarter")
    return changes_of(lost, assess(lost, rules), shared, rules)


def quarters(rng, golfers, change_yd=0.0, usual_yd=6.0, tau_yd=4.0):
    """Two quarters of the same golfers, who lose `change_yd` more in the second; unequal drives and scatter."""
    true = rng.normal(usual_yd, tau_yd, golfers)
    found = []
    for quarter, moved in (("2026Q2", 0.0), ("2026Q3", change_yd)):
        shots, spread = rng.integers(12, 60, golfers), 15 * np.exp(rng.normal(0, 0.4, golfers))
        seen = true + moved + rng.normal(0, 1, golfers) * spread / np.sqrt(shots)
        own = spread**2 * rng.chisquare(shots - 1) / (shots - 1) / shots
        found.append(lost_table(quarter, seen, own, shots))
    return found


def test_in_the_simple_case_it_is_scipys_welch():
    rng = np.random.default_rng(1)
    then, now = rng.normal(220, 8, 14), rng.normal(228, 15, 31)
    tables = [
        lost_table(quarter, [240 - carry.mean()], carry.var(ddof=1) / len(carry), len(carry))
        for quarter, carry in (("2026Q2", then), ("2026Q3", now))
    ]
    row = compared(*tables).row(0, named=True)
    known = stats.ttest_ind(then, now, equal_var=False)
    interval = known.confidence_interval(0.90)
    assert row["lost_change_yd"] == pytest.approx(then.mean() - now.mean())
    assert row["carry_change_yd"] == pytest.approx(now.mean() - then.mean())
    assert row["p_value"] == pytest.approx(known.pvalue, rel=1e-12)
    assert (row["lost_change_lo90_yd"], row["lost_change_hi90_yd"]) == pytest.approx(tuple(interval), rel=1e-12)
    assert (row["shots_before"], row["shots"]) == (14, 31)


def test_where_nothing_changed_p_is_uniform_and_nine_in_ten_intervals_hold_nil():
    table = compared(*quarters(np.random.default_rng(3), 4000))
    assert stats.kstest(table["p_value"].to_numpy(), "uniform").pvalue > 0.01
    held = table.select(pl.lit(0.0).is_between("lost_change_lo90_yd", "lost_change_hi90_yd")).to_series().mean()
    assert 0.885 < held < 0.915


def test_where_nothing_changed_hardly_a_quarter_names_anybody():
    # Under no change at all, the false discovery rate is the share of quarters that name anybody.
    rng = np.random.default_rng(4)
    named = [compared(*quarters(rng, 25))["more_than_chance"].any() for _ in range(150)]
    assert np.mean(named) <= 0.10 + 2 * np.sqrt(0.1 * 0.9 / 150)


def test_a_planted_change_is_recovered():
    table = compared(*quarters(np.random.default_rng(5), 2000, change_yd=-12.0))
    assert table["lost_change_yd"].mean() == pytest.approx(-12, abs=0.35)
    held = table.select(pl.lit(-12.0).is_between("lost_change_lo90_yd", "lost_change_hi90_yd")).to_series().mean()
    assert 0.88 < held < 0.92
    # At half of the false discovery rate; at the whole rate it was three in four.
    assert table["more_than_chance"].mean() > 0.7


def test_golfers_picked_out_gain_by_chance_as_much_as_is_told():
    # Nothing changed; those flagged in the first quarter come back by what shrinkage of that quarter predicts.
    table = compared(*quarters(np.random.default_rng(6), 4000, usual_yd=10.0))
    picked = table.filter(pl.col("movement").is_in(["still", "no_longer"]))
    assert picked.height > 100
    assert picked["lost_change_yd"].mean() < -1
    assert picked["lost_change_yd"].mean() == pytest.approx(picked["chance_change_yd"].mean(), abs=0.4)


def test_the_note_tells_the_gain_to_expect():
    before, now = [40.0, *range(12)], [2.0, *range(12)]
    table = compared(lost_table("2026Q2", before, 9.0, 20), lost_table("2026Q3", now, 9.0, 20))
    row = table.row(0, named=True)
    told = f"a gain of about {number_text(-row['chance_change_yd'])} yd is expected by chance alone"
    assert -5 < row["chance_change_yd"] < -0.5
    assert row["note"] == "picked out in 2026Q2 for being short: " + told
    assert table["note"][1:].null_count() == 12


def test_a_flag_that_goes_by_luck_is_told():
    # Flagged by a hair with 13 yd, then 11 yd: not flagged, though nothing that can be told has changed.
    before, now = [13.0, *[3.0] * 12], [11.0, *[3.0] * 12]
    table = compared(lost_table("2026Q2", before, 0.8, 20), lost_table("2026Q3", now, 0.8, 20))
    row = table.row(0, named=True)
    assert (row["movement"], row["more_than_chance"]) == ("no_longer", False)
    assert row["note"].endswith("; no longer flagged, but the change is no more than chance can give")


def test_movements_of_the_flag():
    before, now = [2.0, 30.0, 30.0, 2.0, 4.0], [30.0, 31.0, 2.0, 3.0, 5.0]
    table = compared(lost_table("2026Q2", before, 1.0, 20), lost_table("2026Q3", now, 1.0, 20))
    assert table["movement"].to_list() == ["new", "still", "no_longer", "clear", "clear"]
    assert table["more_than_chance"].to_list() == [True, False, True, False, False]
    Changes.validate(table)


def test_a_golfer_who_was_away_is_compared_with_the_last_quarter_present():
    tables = [
        lost_table(quarter, [lost], 1.0, 20) for quarter, lost in (("2025Q4", 9.0), ("2026Q1", 7.0), ("2026Q3", 4.0))
    ]
    table = compared(*tables)
    assert table.select("quarter", "since", "lost_change_yd").rows() == [
        ("2026Q1", "2025Q4", -2.0),
        ("2026Q3", "2026Q1", -3.0),
    ]


def test_quarters_with_few_drives_are_passed_over():
    tables = [
        lost_table(quarter, [lost], 1.0, shots)
        for quarter, lost, shots in (("2026Q1", 9.0, 12), ("2026Q2", 50.0, 11), ("2026Q3", 4.0, 12))
    ]
    table = compared(*tables)
    assert table.select("quarter", "since", "lost_change_yd", "movement", "note").rows() == [
        ("2026Q2", "2026Q1", None, "not_assessed", "not assessed in 2026Q2"),
        ("2026Q3", "2026Q1", -5.0, "clear", None),
    ]
    Changes.validate(table)


def test_a_golfer_assessed_for_the_first_time_has_nothing_to_be_compared_with():
    table = compared(lost_table("2026Q2", [9.0], 1.0, 3), lost_table("2026Q3", [40.0], 1.0, 20))
    row = Changes.validate(table).row(0, named=True)
    assert (row["since"], row["movement"], row["note"]) == ("2026Q2", "not_assessed", "not assessed in 2026Q2")
    assert [row[name] for name in ("club_speed_change_mph", "lost_change_yd", "p_value", "more_than_chance")] == [
        None
    ] * 4


def test_golfers_are_not_mixed_up_and_who_is_gone_is_told_once():
    # The first is there in Q2 alone, the second from Q3 on.
    tables = [
        lost_table("2026Q2", [9.0], 1.0, 20),
        *(lost_table(q, [4.0], 1.0, 20, first=1) for q in ("2026Q3", "2026Q4")),
    ]
    table = Changes.validate(compared(*tables))
    assert table.select("golfer", "quarter", "since", "movement", "shots", "note").rows() == [
        ("g" + "0" * 16, "2026Q3", "2026Q2", "not_seen", None, "no drives in 2026Q3"),
        ("g" + "0" * 15 + "1", "2026Q4", "2026Q3", "clear", 20, None),
    ]
    assert table.columns == Changes.column_names()


def test_unassessed_golfers_are_no_part_of_the_adjustment():
    both = lost_table("2026Q2", [20.0, 9.0, 8.0], 1.0, 20), lost_table("2026Q3", [14.0, 9.5, 8.0], 1.0, 20)
    few = [lost_table(q, [30.0, 4.0], 1.0, 5, first=10) for q in ("2026Q2", "2026Q3")]
    alone, beside = compared(*both), compared(*(pl.concat(pair) for pair in zip(both, few, strict=True)))
    assert beside["q_value"].to_list() == [*alone["q_value"].to_list(), None, None]


def test_efficient_carrys_error_counts_only_as_far_as_it_differs_between_the_speeds():
    # Errors at 95 and 105 mph are independent, each of 2 yd; between them they are on a line.
    draws = 2.0 * np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]])
    between = np.clip((np.arange(60.0, 121.0) - 95) / 10, 0, 1)
    shared = SharedErrors.of(EXACT.frontier, draws[:, :1] * (1 - between) + draws[:, 1:] * between)

    def variance(speed_now):
        then = lost_table("2026Q2", [9.0], 4.0, 400, 95.0)
        row = compared(then, lost_table("2026Q3", [9.0], 4.0, 400, speed_now), shared=shared).row(0, named=True)
        assert row["lost_change_shared_error_yd"] ** 2 == pytest.approx(row["lost_change_std_error_yd"] ** 2 - 8.0)
        return ((row["lost_change_hi90_yd"] - row["lost_change_lo90_yd"]) / 2 / 1.6449) ** 2

    # Variances: 4 + 4 of the golfer's own; of efficient carry's 2^2 + 2^2 nothing, a quarter of it, all.
    assert [variance(v) for v in (95.0, 85.0, 100.0, 110.0)] == pytest.approx([8.0, 8.0, 10.0, 16.0], rel=0.02)


@pytest.mark.parametrize("days", [1, 2, 30])
def test_days_with_form_are_in_the_interval_whatever_their_number(days):
    # 30 drives of 10 yd in each of two quarters, days of 3.5 yd; what they add is known from the others.
    rng = np.random.default_rng(days)
    golfers, shots, form = 2000, 30, 3.5**2
    day = np.sqrt(form) * rng.standard_normal((2, golfers, days))
    drives = 10 * rng.standard_normal((2, golfers, shots)) + day[:, :, np.arange(shots) % days]
    exposure = (shots / days - 1) / (shots - 1)
    tables = [
        lost_table(q, one.mean(axis=1), one.var(axis=1, ddof=1) / shots, shots, exposure=exposure, form_variance=form)
        for q, one in zip(("2026Q2", "2026Q3"), drives, strict=True)
    ]
    table = compared(*tables)
    held = table.select(pl.lit(0.0).is_between("lost_change_lo90_yd", "lost_change_hi90_yd")).to_series().mean()
    assert held == pytest.approx(0.90, abs=3 * np.sqrt(0.09 / golfers))
    forgotten = compared(*(one.with_columns(exposure=pl.lit(0.0)) for one in tables))
    held = forgotten.select(pl.lit(0.0).is_between("lost_change_lo90_yd", "lost_change_hi90_yd")).to_series().mean()
    assert (held < 0.80) == (days < 30)


def test_drives_all_alike_give_no_interval():
    row = compared(*(lost_table(q, [9.0], 0.0, 20) for q in ("2026Q2", "2026Q3"))).row(0, named=True)
    assert [row[name] for name in ("lost_change_lo90_yd", "lost_change_hi90_yd", "p_value", "q_value")] == [None] * 4
    assert row["more_than_chance"] is None


def test_quarters_are_adjusted_apart():
    rng = np.random.default_rng(2)
    first, second = quarters(rng, 30)
    third = second.with_columns(pl.lit("2026Q4").alias("quarter"), pl.col("lost_yd") + 8, pl.col("lost_contact_yd") + 8)
    third = third.with_columns(pl.col("carry_yd") - 8)
    together = compared(first, second, third)
    alone = compared(first, second)
    assert together.filter(quarter="2026Q3")["q_value"].to_list() == alone["q_value"].to_list()


def test_from_drives_to_a_change(world_maker, world_carry):
    # Real drives of two quarters, through `losses`: ten golfers of eighty get 12 yd shorter.
    from fitting import fit_to

    world = world_maker(golfers=40)
    model = fit_to(candidate_named("quadratic"), world.drives).model
    speed = np.arange(66.0, 118.0)
    launch, spin = 14 - 0.04 * (1.474 * speed - 135), 2600 - 12 * (1.474 * speed - 135)
    carry = world_carry(speed * 1.474, launch, spin)
    frontier = frontier_at(speed, carry_yd=carry, std_error_yd=0.5, launch_deg=launch, spin_rpm=spin)
    again = world_maker(golfers=40, noise_yd=4.0).drives.with_columns(quarter=pl.lit("2026Q4"))
    shorter = again.get_column("golfer").unique().sort().head(10).to_list()
    again = again.with_columns(pl.col("carry_standard_yd") - 12 * pl.col("golfer").is_in(shorter))
    shared = one_error(frontier)
    known, _ = known_losses(on_days(pl.concat([world.drives, again])), model, shared, 0.0)
    lost = ranked(known)
    table = Changes.validate(changes_of(lost, assess(lost, RULES), shared, RULES))
    assert table.height == 40
    mean = table.group_by(pl.col("golfer").is_in(shorter).alias("shorter")).agg(pl.col("lost_change_yd").mean())
    assert dict(mean.iter_rows()) == pytest.approx({True: 12.0, False: 0.0}, abs=1.0)


def test_movements_between_neighboring_quarters_are_the_pages_states():
    random = np.random.default_rng(8)
    yards, luck = random.normal(9, 9, 40), np.full(40, 2.0)
    halves = [lost_table(quarter, yards + random.normal(0, 4, 40), luck, 20) for quarter in ("2026Q1", "2026Q2")]
    halves[1] = halves[1].filter(pl.int_range(pl.len()) > 2)  # three aren't seen in the later quarter
    lost = ranked(pl.concat(halves)).sort("golfer", "quarter")
    golfers = assess(lost, RULES)
    changes = changes_of(lost, golfers, EXACT, RULES).select("golfer", pl.col("movement").cast(pl.String))
    states = states_of(golfers).filter(pl.col("quarter") == "2026Q2").select("golfer", "state")
    assert set(states["state"]) == {"new", "still", "no_longer", "clear", "not_seen"}
    assert dict(changes.iter_rows()) == dict(states.iter_rows())
