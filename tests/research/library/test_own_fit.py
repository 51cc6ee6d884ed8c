import numpy as np
import polars as pl
import pytest

from pipeline.errors import UserError
from pipeline.research.library.own_fit import CARRIES, score_fit

RNG = np.random.default_rng(5)
N = 60


def drives_and_held_out():
    """12 golfers in 3 folds; a device adds 10 %; the study's model errs by 2 yd up and down, the fits see 4 yd."""
    golfer = np.repeat(np.arange(12), N // 12)
    speed = RNG.uniform(90, 160, N)
    reference = 1.6 * speed
    share = 0.1 * (golfer % 2)
    drives = pl.DataFrame(
        {
            "source": "a.csv", "row": np.arange(N), "golfer": [f"g{one:02}" for one in golfer],
            "device": np.where(golfer % 2 == 0, "A", "B"), "ball_speed_mph": speed,
            "carry_measured_yd": reference * (1 + share) + 3, "carry_standard_yd": reference * (1 + share),
            "carry_reference_yd": reference,
        }
    )  # fmt: skip
    fold = golfer % 3
    held = drives.select("golfer", "source", "row", measured_yd="carry_reference_yd").with_columns(
        pl.Series("predicted_yd", reference + np.where(np.arange(N) % 2 == 0, 2.0, -2.0)), pl.Series("fold", fold)
    )
    return drives, held


DRIVES, HELD = drives_and_held_out()


def through_the_origin(drives):
    x, y = drives["ball_speed_mph"].to_numpy(), drives["carry_reference_yd"].to_numpy()
    slope = float(x @ y / (x @ x))
    return lambda held: slope * held["ball_speed_mph"].to_numpy()


def test_a_right_fit_has_no_error_and_is_better_by_all_of_the_models():
    own, model = score_fit(through_the_origin, DRIVES, HELD, "flight").to_dicts()
    assert (own["model"], model["model"]) == ("own", "flight")
    assert (own["golfers"], own["drives"]) == (model["golfers"], model["drives"]) == (12, N)
    assert own["rmse_yd"] == pytest.approx(0, abs=1e-9)
    assert (model["rmse_yd"], model["mae_yd"], model["bias_yd"]) == pytest.approx((2, 2, 0))
    assert own["difference_yd"] == pytest.approx(-2)
    assert model["difference_yd"] is None


def test_a_fold_is_predicted_without_its_golfers_and_without_its_carry():
    seen = []

    def fit(training):
        inside = set(training["golfer"])
        assert set(CARRIES) < set(training.columns)

        def predict(held):
            assert not inside & set(held["golfer"])
            assert not set(CARRIES) & set(held.columns)
            seen.extend(held["row"])
            return 1.6 * held["ball_speed_mph"]

        return predict

    score_fit(fit, DRIVES, HELD, "flight")
    assert sorted(seen) == list(range(N))


def test_scores_are_plain_arithmetic():
    # A fit that errs by 5 yd for a third of the golfers and by 1 yd for the others.
    def fit(_):
        return lambda held: (
            1.6 * held["ball_speed_mph"]
            + held["golfer"]
            .str.slice(1)
            .cast(int)
            .replace_strict({one: 5.0 if one % 4 == 0 else 1.0 for one in range(12)})
        )

    own = score_fit(fit, DRIVES, HELD, "flight").row(0, named=True)
    mse = (25 * 3 + 9) / 12
    assert own["rmse_yd"] == pytest.approx(np.sqrt(mse))
    assert (own["mae_yd"], own["bias_yd"]) == pytest.approx((2.0, 2.0))
    # By golfer: sums of 5 (squared error - mean); the delta method halves them over the root.
    sums = np.array([5 * ((25 if one % 4 == 0 else 1) - mse) for one in range(12)])
    assert own["rmse_std_error_yd"] == pytest.approx(np.sqrt((sums**2).sum() * 12 / 11) / N / (2 * np.sqrt(mse)))
    # The model's squared error is the same for every drive, so the difference is as unsure as the fit.
    assert own["difference_std_error_yd"] == pytest.approx(own["rmse_std_error_yd"])


def test_a_fit_may_predict_standard_carry_with_the_device():
    def fit(training):
        shares = dict(
            training.group_by("device").agg((pl.col("carry_standard_yd") / pl.col("ball_speed_mph")).mean()).rows()
        )
        return lambda held: held["ball_speed_mph"] * held["device"].replace_strict(shares)

    own, model = score_fit(fit, DRIVES, HELD, "flight", "carry_standard_yd").to_dicts()
    assert own["rmse_yd"] == pytest.approx(0, abs=1e-9)
    assert model["rmse_yd"] == pytest.approx(np.sqrt((4 + 2.2**2) / 2))  # 10 % more on the second device


def test_drives_that_were_left_out_are_not_scored_and_drives_of_no_fit_are_left_out():
    more = pl.concat([DRIVES.filter(pl.col("row") < 30), DRIVES.head(1).with_columns(row=pl.lit(99, pl.Int64))])
    assert score_fit(through_the_origin, more, HELD, "flight")["drives"].to_list() == [30, 30]


@pytest.mark.parametrize(
    ("predicted", "told"),
    [
        (lambda _: [1.0], r"the fit gives 1 numbers for the 20 drives of fold 0; leave out with `among`"),
        (lambda held: held["ball_speed_mph"].set(held["row"] == 5, None), r"the fit gives 19 numbers for the 20"),
    ],
)  # fmt: skip
def test_a_fit_that_does_not_predict_every_drive_is_told(predicted, told):
    held = HELD.with_columns(fold=pl.when(pl.col("row") < 20).then(0).otherwise(1))
    with pytest.raises(UserError, match=told):
        score_fit(lambda _: predicted, DRIVES, held, "flight")


def test_what_can_not_be_scored_is_told():
    with pytest.raises(UserError, match="can be carry_reference_yd or carry_standard_yd"):
        score_fit(through_the_origin, DRIVES, HELD, "flight", "carry_measured_yd")
    with pytest.raises(UserError, match="none of the drives was in the fit"):
        score_fit(through_the_origin, DRIVES.head(0), HELD, "flight")
