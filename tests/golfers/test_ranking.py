import numpy as np
import polars as pl
import pytest
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from pipeline.golfers.ranking import design, ranked
from pipeline.statistics.shrinkage import between_golfers, moderated_variance, shrink

RANKED = ["ranked_lost_yd", "ranked_lo90_yd", "ranked_hi90_yd"]

# The 13 trials of BCG vaccine against tuberculosis (Colditz and others, JAMA 271 (1994) 698): cases and others among
# the vaccinated, cases and others among the rest, absolute latitude.
BCG = np.array([
    [4, 119, 11, 128, 44], [6, 300, 29, 274, 55], [3, 228, 11, 209, 42], [62, 13536, 248, 12619, 52],
    [33, 5036, 47, 5761, 13], [180, 1361, 372, 1079, 44], [8, 2537, 10, 619, 19], [505, 87886, 499, 87892, 13],
    [29, 7470, 45, 7232, 27], [17, 1699, 65, 1600, 42], [186, 50448, 141, 27197, 18], [5, 2493, 3, 2338, 33],
    [27, 16886, 29, 17825, 33],
], dtype=float)  # fmt: skip


def bcg():
    """Log risk ratios with the smoothed variances of Berkey and others (1995), and latitude less its mean."""
    cases, others, cases_rest, others_rest, latitude = BCG.T
    ratio = np.log(cases / (cases + others)) - np.log(cases_rest / (cases_rest + others_rest))
    variance = np.mean(others / cases) / (cases + others) + np.mean(others_rest / cases_rest) / (
        cases_rest + others_rest
    )
    return ratio, variance, latitude - 33.46


def simulated(rng, golfers=60, tau_yd=4.0, shots=(2, 40), sd_yd=12.0):
    """Golfers about a line in speed, with the truth and the variance of their figures' luck."""
    speed = rng.uniform(70, 112, golfers)
    count = rng.integers(*shots, golfers)
    spread = sd_yd * np.exp(rng.normal(0, 0.35, golfers))
    true = 8 + 0.1 * (speed - 90) + rng.normal(0, tau_yd, golfers)
    seen = true + rng.normal(0, 1, golfers) * spread / np.sqrt(count)
    own = spread**2 * rng.chisquare(count - 1) / (count - 1) / count
    table = pl.DataFrame(
        {
            "golfer": [f"g{i:016x}" for i in range(golfers)],
            "quarter": "2026Q3",
            "shots": count,
            "club_speed_mph": speed,
            "lost_yd": seen,
            "own_variance": own,
            "efficient_std_error_yd": 0.0,
        }
    )
    return table, true, spread**2 / count


def test_berkeys_random_effects_of_the_bcg_trials():
    # Berkey and others, Stat. Med. 14 (1995) 395, page 408: without latitude and with it.
    ratio, variance, latitude = bcg()
    tau2, coefficients, covariance = between_golfers(ratio, variance, np.ones((13, 1)))
    assert tau2 == pytest.approx(0.2682, abs=5e-5)
    assert coefficients[0] == pytest.approx(-0.5429, abs=5e-5)
    assert np.sqrt(covariance[0, 0]) == pytest.approx(0.1842, abs=5e-5)
    tau2, coefficients, covariance = between_golfers(ratio, variance, np.column_stack([np.ones(13), latitude]))
    assert tau2 == pytest.approx(0.1572, abs=5e-5)
    assert coefficients == pytest.approx([-0.6304, -0.0268], abs=1.1e-4)
    assert np.sqrt(np.diag(covariance)) == pytest.approx([0.1591, 0.0110], abs=5e-5)


def test_a_mean_alone_agrees_with_statsmodels():
    rng = np.random.default_rng(4)
    variance = rng.uniform(1, 9, 25)
    value = rng.normal(10, 3, 25) + rng.normal(0, 1, 25) * np.sqrt(variance)
    known = combine_effects(value, variance, method_re="iterated", atol=1e-6)
    tau2, coefficients, _ = between_golfers(value, variance, np.ones((25, 1)))
    assert tau2 == pytest.approx(known.tau2, rel=1e-5)
    assert coefficients[0] == pytest.approx(known.mean_effect_re, rel=1e-7)


def test_golfers_who_differ_by_luck_alone_get_nearly_the_usual_figure():
    # Closer together than chance allows: tau is nil, and Morris's factor 9 / 11 is all that is left of the own figure.
    value, variance = 10 + 0.1 * (np.arange(12.0) % 3), np.full(12, 9.0)
    found = shrink(value, variance, np.ones((12, 1)))
    assert between_golfers(value, variance, np.ones((12, 1)))[0] == 0
    assert found.value - value.mean() == pytest.approx(2 / 11 * (value - value.mean()))


def test_shrunk_is_nearer_the_truth_than_raw_and_near_the_best_possible():
    rng = np.random.default_rng(11)
    squares = np.zeros(3)
    for _ in range(60):
        table, true, luck = simulated(rng)
        raw = table.get_column("lost_yd").to_numpy()
        usual = 8 + 0.1 * (table.get_column("club_speed_mph").to_numpy() - 90)
        best = usual + 16 / (16 + luck) * (raw - usual)  # all parameters known
        shrunk = ranked(table).get_column("ranked_lost_yd").to_numpy()
        squares += [np.mean((one - true) ** 2) for one in (raw, shrunk, best)]
    raw_rmse, shrunk_rmse, best_rmse = np.sqrt(squares / 60)
    assert shrunk_rmse < 0.75 * raw_rmse
    assert shrunk_rmse < 1.10 * best_rmse


@pytest.mark.parametrize(("golfers", "tau_yd", "sims"), [(8, 4.0, 250), (40, 2.0, 80), (40, 8.0, 80)])
def test_nine_in_ten_intervals_hold_the_truth(golfers, tau_yd, sims):
    rng = np.random.default_rng(5)
    inside = few = few_inside = 0
    for _ in range(sims):
        table, true, _ = simulated(rng, golfers, tau_yd, shots=(3, 50))
        found = ranked(table).with_columns(pl.Series("true", true))
        held = found.select(pl.col("true").is_between("ranked_lo90_yd", "ranked_hi90_yd")).to_series().to_numpy()
        scarce = table.get_column("shots").to_numpy() < 12
        inside, few, few_inside = inside + held.sum(), few + scarce.sum(), few_inside + held[scarce].sum()
    assert 0.87 <= inside / (sims * golfers) <= 0.93
    assert 0.84 <= few_inside / few <= 0.95


def test_tau_is_recovered():
    table, _, luck = simulated(np.random.default_rng(2), golfers=3000, tau_yd=5.0)
    X = design(table.get_column("club_speed_mph").to_numpy(), np.sqrt(luck))
    tau2, _, _ = between_golfers(table.get_column("lost_yd").to_numpy(), luck, X)
    assert tau2**0.5 == pytest.approx(5.0, rel=0.06)


def test_inconsistent_golfers_are_not_pulled_to_the_level_of_steady_ones():
    # One in five mishits a third of the drives by 60 yd: more is lost and the mean is known less well.
    rng = np.random.default_rng(8)
    golfers, shots = 60, 20
    rate = np.where(np.arange(golfers) % 5 == 0, 1 / 3, 0.0)
    bias = []
    for _ in range(40):
        drives = rng.normal(5, 9, (golfers, shots)) + rng.normal(0, 2, (golfers, 1))
        drives += 60 * (rng.random((golfers, shots)) < rate[:, None])
        table, _, _ = simulated(rng, golfers)
        table = table.with_columns(
            shots=shots, lost_yd=drives.mean(axis=1), own_variance=drives.var(axis=1, ddof=1) / shots
        )
        bias.append((ranked(table).get_column("ranked_lost_yd").to_numpy() - 25)[rate > 0].mean())
    assert abs(np.mean(bias)) < 2.0  # 1.4 as it is, 4 or more where scatter isn't looked at


def test_few_drives_are_pulled_more_than_many():
    table, _, _ = simulated(np.random.default_rng(3), golfers=20)
    table = table.with_columns(shots=30, own_variance=pl.lit(4.0), lost_yd=pl.lit(10.0) + pl.int_range(20) % 7)
    few = pl.int_range(20) == 6
    table = table.with_columns(
        pl.when(few).then(3).otherwise("shots").alias("shots"),
        pl.when(few).then(40.0).otherwise("own_variance").alias("own_variance"),
        pl.when(few | (pl.int_range(20) == 7)).then(30.0).otherwise("lost_yd").alias("lost_yd"),
        pl.lit(90.0).alias("club_speed_mph"),
    )
    found = ranked(table).get_column("ranked_lost_yd")
    assert found[6] < found[7] - 1 < 30


def test_order_of_rows_does_not_matter():
    table, _, _ = simulated(np.random.default_rng(1))
    turned = ranked(table.reverse()).reverse()
    for name in RANKED:
        assert turned.get_column(name).to_list() == pytest.approx(ranked(table).get_column(name).to_list(), rel=1e-9)


def test_a_shift_of_all_moves_all_by_as_much():
    table, _, _ = simulated(np.random.default_rng(1))
    moved = ranked(table.with_columns(pl.col("lost_yd") + 7))
    for name in RANKED:
        assert (moved[name] - 7).to_list() == pytest.approx(ranked(table)[name].to_list(), rel=1e-8)


def test_the_shared_error_widens_intervals_and_moves_nobody():
    table, _, _ = simulated(np.random.default_rng(1), golfers=300, shots=(200, 300))
    alone, with_error = ranked(table), ranked(table.with_columns(efficient_std_error_yd=pl.lit(2.0)))
    assert with_error["ranked_lost_yd"].to_list() == alone["ranked_lost_yd"].to_list()
    half = [(found["ranked_hi90_yd"] - found["ranked_lost_yd"]) / 1.6449 for found in (alone, with_error)]
    assert (half[1] ** 2 - half[0] ** 2).to_numpy() == pytest.approx(np.full(300, 4.0), rel=0.02)


def test_quarters_are_shrunk_apart():
    one, _, _ = simulated(np.random.default_rng(1))
    other, _, _ = simulated(np.random.default_rng(2))
    both = ranked(pl.concat([one, other.with_columns(pl.col("lost_yd") + 30, quarter=pl.lit("2026Q2"))]))
    assert both.filter(quarter="2026Q3").equals(ranked(one))


def test_a_single_drive_has_the_pooled_variance():
    variance, freedom = moderated_variance(np.array([90.0, 110.0, np.nan, 100.0]), np.array([40, 40, 1, 40]))
    # Alike within luck, so all are pooled: the mean with 39 degrees of freedom each.
    assert variance == pytest.approx([100.0] * 4)
    assert np.isinf(freedom).all()


def test_moderated_variances_recover_their_prior():
    # Smyth (2004): variances scattered as 50 * 6 / chi-squared with 6 degrees of freedom.
    rng = np.random.default_rng(6)
    true = 50 * 6 / rng.chisquare(6, 20000)
    shots = np.full(20000, 9)
    seen = true * rng.chisquare(8, 20000) / 8
    variance, freedom = moderated_variance(seen, shots)
    assert freedom[0] == pytest.approx(14, rel=0.04)
    assert variance == pytest.approx((6 * 50 + 8 * seen) / 14, rel=0.04)
    assert np.mean((np.log(variance) - np.log(true)) ** 2) < 0.7 * np.mean((np.log(seen) - np.log(true)) ** 2)


def test_identical_drives_do_not_count_as_certainty():
    table, _, _ = simulated(np.random.default_rng(1), golfers=12)
    alike = ranked(table.with_columns(own_variance=pl.lit(0.0)))
    assert alike["ranked_lost_yd"].to_list() == pytest.approx(table["lost_yd"].to_list(), abs=0.01)
    assert (alike["ranked_hi90_yd"] > alike["ranked_lo90_yd"]).all()


def test_who_has_no_yards_lost_has_no_rank_and_weighs_on_nobody():
    table, _, _ = simulated(np.random.default_rng(1), golfers=20)
    missing = table.head(1).with_columns(
        pl.lit(None, pl.Float64).alias("lost_yd"), pl.lit(None, pl.Float64).alias("efficient_std_error_yd")
    )
    found = ranked(pl.concat([missing, table.tail(19)]))
    assert found.head(1).select(RANKED).row(0) == (None, None, None)
    assert found.tail(19).equals(ranked(table.tail(19)))


@pytest.mark.parametrize("golfers", [1, 2])
def test_under_three_golfers_nobody_is_ranked(golfers):
    table, _, _ = simulated(np.random.default_rng(1), golfers=5)
    found = ranked(table.head(golfers))
    assert found.select(RANKED).null_count().row(0) == (golfers,) * 3
    with pytest.raises(ValueError, match="needs 3 golfers"):
        shrink(np.zeros(golfers), np.ones(golfers), np.ones((golfers, 1)))


def test_three_golfers_and_one_speed_are_enough():
    table, _, _ = simulated(np.random.default_rng(1), golfers=12)
    assert ranked(table.head(3)).select(RANKED).null_count().row(0) == (0, 0, 0)
    assert ranked(table.with_columns(club_speed_mph=pl.lit(90.0))).select(RANKED).null_count().row(0) == (0, 0, 0)


def test_single_drives_alone_rank_nobody():
    table, _, _ = simulated(np.random.default_rng(1), golfers=8)
    table = table.with_columns(shots=1, own_variance=pl.lit(None, pl.Float64))
    assert ranked(table).select(RANKED).null_count().row(0) == (8, 8, 8)


def test_the_number_of_regressors_grows_with_the_number_of_golfers():
    widths = [design(np.arange(n, dtype=float), np.arange(n)[::-1] ** 2.0).shape for n in (4, 5, 9, 10)]
    assert widths == [(4, 1), (5, 2), (9, 2), (10, 3)]


def test_interval_follows_students_t_where_a_golfer_stands_alone():
    # Golfers differ so much that nobody is pulled, and variances so much that each has its own: t with n - 1.
    rng = np.random.default_rng(9)
    table, _, _ = simulated(rng, golfers=40, tau_yd=3000.0, shots=(6, 7))
    own = 10.0 ** rng.uniform(-4, 4, 40)
    found = ranked(table.with_columns(own_variance=pl.Series(own)))
    half = (found["ranked_hi90_yd"] - found["ranked_lo90_yd"]).to_numpy() / 2 / np.sqrt(own)
    middle = (own > 1e-2) & (own < 1e2)
    assert half[middle] == pytest.approx(np.full(middle.sum(), stats.t.ppf(0.95, 5)), rel=0.12)
