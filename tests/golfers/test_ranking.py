import numpy as np
import polars as pl
import pytest
from scipy import stats

from pipeline.golfers.ranking import design, ranked

RANKED = ["ranked_lost_yd", "ranked_lo90_yd", "ranked_hi90_yd"]


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
            "own_freedom": count - 1.0,
            "exposure": 0.0,
            "form_variance": 0.0,
            "form_freedom": np.inf,
            "shared_variance": 0.0,
            "shared_freedom": np.inf,
        }
    )
    return table, true, spread**2 / count


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
    alone, with_error = ranked(table), ranked(table.with_columns(shared_variance=pl.lit(4.0)))
    assert with_error["ranked_lost_yd"].to_list() == alone["ranked_lost_yd"].to_list()
    half = [(found["ranked_hi90_yd"] - found["ranked_lost_yd"]) / 1.6449 for found in (alone, with_error)]
    assert (half[1] ** 2 - half[0] ** 2).to_numpy() == pytest.approx(np.full(300, 4.0), rel=0.02)


def test_quarters_are_shrunk_apart():
    one, _, _ = simulated(np.random.default_rng(1))
    other, _, _ = simulated(np.random.default_rng(2))
    both = ranked(pl.concat([one, other.with_columns(pl.col("lost_yd") + 30, quarter=pl.lit("2026Q2"))]))
    assert both.filter(quarter="2026Q3").equals(ranked(one))


def test_identical_drives_do_not_count_as_certainty():
    table, _, _ = simulated(np.random.default_rng(1), golfers=12)
    alike = ranked(table.with_columns(own_variance=pl.lit(0.0)))
    assert alike["ranked_lost_yd"].to_list() == pytest.approx(table["lost_yd"].to_list(), abs=0.01)
    assert (alike["ranked_hi90_yd"] > alike["ranked_lo90_yd"]).all()


def test_who_has_no_yards_lost_has_no_rank_and_weighs_on_nobody():
    table, _, _ = simulated(np.random.default_rng(1), golfers=20)
    missing = table.head(1).with_columns(
        pl.lit(None, pl.Float64).alias("lost_yd"), pl.lit(None, pl.Float64).alias("shared_variance")
    )
    found = ranked(pl.concat([missing, table.tail(19)]))
    assert found.head(1).select(RANKED).row(0) == (None, None, None)
    assert found.tail(19).equals(ranked(table.tail(19)))


@pytest.mark.parametrize("golfers", [1, 2])
def test_under_three_golfers_nobody_is_ranked(golfers):
    table, _, _ = simulated(np.random.default_rng(1), golfers=5)
    found = ranked(table.head(golfers))
    assert found.select(RANKED).null_count().row(0) == (golfers,) * 3


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
