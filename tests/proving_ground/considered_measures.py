"""Methods weighed against those in use: each measure takes a case and gives figures by both ways."""

import warnings
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import numpy.typing as npt
import polars as pl
from academy import QUARTERS, draw_golfers, draws_of_a_drive, make_academy
from considered_case import (
    BANDS,
    CENTRES_MPH,
    HALF_WIDTH_MPH,
    MIN_GOLFERS,
    MIN_SHOTS,
    Case,
    Row,
    against_truth,
    efficient_yd,
    frontier_of,
    own_scale,
    people_of,
    problem,
    rms,
    row,
    with_coefficients,
)
from people import form_of_days
from scipy.stats import norm, qmc
from statsmodels.regression.mixed_linear_model import MixedLM
from statsmodels.tools.sm_exceptions import ConvergenceWarning
from true_flight import Array, carry_yd
from worlds import World

from pipeline.benchmark.bands import at_centre, band_table, golfers_by_quarter
from pipeline.benchmark.efficient import supported_speeds
from pipeline.benchmark.frontier import Frontier
from pipeline.drives import KEYS, golfer_codes, inputs, typical_drives
from pipeline.fit.factored import Factored, fit_candidate
from pipeline.fit.held_out import EVERYTHING, interval_edges, predict_from
from pipeline.fit.model import CarryModel
from pipeline.fit.survey import Survey
from pipeline.fit.trend import quantile_line
from pipeline.statistics.least_squares import Factor, solve
from pipeline.statistics.shapley import exchange
from pipeline.tables.columns import PERCENTILES

ENOUGH_GOLFERS = 12  # of a band whose intervals are judged
STRICTER_GOLFERS = 12  # the weight of golfers that the alternative asks of a band
SECOND_DEVICE = "expected carry on the second device: rms error, yd"
LOST_BIASES = "yards lost on the second device: rms of the bands' biases, yd"
GOLFER_SD = 0.01  # share of carry by which golfers differ beyond their readings, where they are made to
LEAST_GOLFERS, LEAST_DRIVES = 3, 100  # that a mean bias and a coverage of a band rest on
CROWD, CROWD_DRIVES = 3000, 128
FRESH_GOLFERS = 100
TRUE_NAMES = {"ball_speed_mph": "ball_mph", "launch_deg": "launch_deg", "spin_rpm": "spin_rpm"}


def fit_mixed(X: Array, y: Array, golfer: npt.NDArray[np.int64]) -> tuple[Array, float]:
    """Fit y = X b + a random intercept of each golfer by restricted maximum likelihood (statsmodels' MixedLM).

    Returns
    -------
    tuple of ndarray and float
        b, shape (terms,), and the standard deviation of the intercepts.

    Raises
    ------
    ValueError
        If the intercepts' variance comes out as nil.
    """
    lengths = np.linalg.norm(X, axis=0) / np.sqrt(len(y))
    with warnings.catch_warnings():
        # Where golfers hardly differ, their variance lies near its edge, nil: an answer, though statsmodels warns.
        warnings.simplefilter("ignore", ConvergenceWarning)
        # By Powell's search: those that go by the slope of the likelihood jump onto nil, where it can't be worked out.
        found = MixedLM(y, X / lengths, groups=golfer).fit(reml=True, method=["powell"])
    if not np.isfinite(found.llf):
        raise ValueError("the search for the golfers' variance ended at zero, where it can't be calculated")
    return np.asarray(found.fe_params) / lengths, float(np.sqrt(np.asarray(found.cov_re)[0, 0]))


def random_effects(case: Case, golfer_sd: float = 0.0) -> list[Row]:
    """Weigh random golfer effects; `golfer_sd` makes golfers differ by that share of carry beyond their readings."""
    golfer = golfer_codes(case.drives)
    effect = golfer_sd * np.random.default_rng([case.seed, 1]).standard_normal(int(golfer.max()) + 1)
    drives = case.drives.with_columns(pl.col("carry_standard_yd") * (1 + pl.Series(effect[golfer])))
    X, y = problem(case.model, drives)
    plain = with_coefficients(case.model, solve(Factor.of(X, y)).coefficients)
    coefficients, sd = fit_mixed(X, y, golfer)
    mixed = with_coefficients(case.model, coefficients)
    true_sd = golfer_sd * float(case.true_carry_yd.mean())
    level = case.model.offsets.design(drives)[:, 0] > 0
    carry = float(np.mean(case.true_carry_yd[level]))
    share = float(np.average((own_scale(case) / case.scale - 1)[level], weights=case.true_carry_yd[level]))
    return [
        *against_truth(case, plain, mixed),
        row("device offset: error, yd", *((model.offset_share[0] - share) * carry for model in (plain, mixed))),
        row("spread of golfers' effects, yd", None, sd, true_sd),
    ]


def slopes(carry: Callable[..., Array], speed: Array, launch: Array, spin: Array) -> dict[str, Array]:
    """Give how carry changes: yd per mph, per deg and per 100 rpm, each shape (n,), by central differences."""
    steps = {
        "ball speed, yd per mph": (1.0, 0, 0),
        "launch, yd per deg": (0, 0.5, 0),
        "spin, yd per 100 rpm": (0, 0, 50.0),
    }
    width = (2.0, 1.0, 1.0)
    return {
        name: (carry(speed + a, launch + b, spin + c) - carry(speed - a, launch - b, spin - c)) / w
        for (name, (a, b, c)), w in zip(steps.items(), width, strict=True)
    }


def attenuation(case: Case) -> list[Row]:
    """Weigh errors in the readings: the same surface fitted to the true drives, which no study has."""
    true = {name: pl.col(f"true_{short}") for name, short in TRUE_NAMES.items()}
    survey = Survey.of(case.drives.with_columns(**true))
    factored = Factored.of(survey, case.candidate.surface(survey.extents))
    known = fit_candidate(factored, survey, case.model.usual).model
    typical = typical_drives(case.drives, ["golfer"])
    ball_speed = (typical.get_column("club_speed_mph") * typical.get_column("speed_ratio")).to_numpy()
    at = (ball_speed, typical.get_column("launch_deg").to_numpy(), typical.get_column("spin_rpm").to_numpy())
    flown = slopes(lambda *drive: carry_yd(case.academy.ball, *drive) * case.scale, *at)
    fitted, unspoilt = slopes(case.model.carry, *at), slopes(known.carry, *at)
    rows = []
    for name, true_slope in flown.items():
        both = (fitted[name], unspoilt[name])
        rows.append(row(f"mean slope with {name}", *(float(s.mean()) for s in both), float(true_slope.mean())))
        rows.append(row(f"slope with {name}: rms error", *(rms(s - true_slope) for s in both)))
    return [*rows, *against_truth(case, case.model, known)]


def fit_weighted(case: Case, power: float | None) -> tuple[CarryModel, float]:
    """Fit with weights of expected carry to a power, by its own spread of residuals where none is given.

    Returns
    -------
    tuple of CarryModel and float
        And the power: of carry, in the variance.
    """
    X, y = problem(case.model, case.drives)
    expected = case.model.carry(*inputs(case.drives, "ball"))
    if power is None:
        left = y - X @ np.concatenate([case.model.coefficients, case.model.offset_share])
        power = float(np.polyfit(np.log(expected), np.log(left**2 + 1e-6), 1)[0])
    root = (expected / expected.mean()) ** (-power / 2)
    return with_coefficients(case.model, solve(Factor.of(X * root[:, None], y * root)).coefficients), power


def weights(case: Case, power: float | None) -> list[Row]:
    """Weigh weighted least squares."""
    weighted, used = fit_weighted(case, power)
    fitted = [] if power is not None else [row("power of carry in the variance", None, used, None)]
    return [*against_truth(case, case.model, weighted), *fitted]


def widths(case: Case) -> list[Row]:
    """Weigh an interval of so many yards against one of a share of carry; coverage on golfers held out, by band."""
    measured, predicted, fold = case.held.measured, case.held.predicted[EVERYTHING], case.held.fold
    by_share, by_yards = np.empty(len(fold), dtype=bool), np.empty(len(fold), dtype=bool)
    for k in np.unique(fold):
        out = fold == k
        lo, hi = interval_edges(measured[~out], predicted[~out])
        by_share[out] = (measured[out] >= predicted[out] * (1 + lo)) & (measured[out] <= predicted[out] * (1 + hi))
        low, high = np.quantile((measured - predicted)[~out], [0.05, 0.95])
        by_yards[out] = (measured[out] >= predicted[out] + low) & (measured[out] <= predicted[out] + high)
    band = 10 * np.round(case.drives.get_column("club_speed_mph").to_numpy() / 10)
    rows, covered = [], []
    for v in CENTRES_MPH:
        here = band == v
        both = [float(inside[here].mean()) if here.sum() >= LEAST_DRIVES else None for inside in (by_share, by_yards)]
        rows.append(row(f"coverage, {v:g} mph", *both, 0.9))
        covered.append(both)
    gaps = np.sqrt(np.nanmean((np.array(covered, dtype=float) - 0.9) ** 2, axis=0)).tolist()
    return [row("coverage of bands: rms distance from 0.9", *gaps), *rows]


def parts_of(model_carry: Callable[..., Array], best: list[Array], own: list[Array], mean: Array) -> dict[str, Array]:
    """Give contact, launch, spin and consistency, yd, from the efficient drive over a golfer's own to the mean."""
    contact, launch, spin = exchange(model_carry, best, own)
    return {"contact": contact, "launch": launch, "spin": spin, "consistency": model_carry(*own) - mean}


def golfer_means(drives: pl.DataFrame, columns: tuple[str, ...]) -> pl.DataFrame:
    """Average columns per golfer and quarter, sorted by them, with the number of drives as `hit`.

    By numpy: the last digit of polars' group means hangs on its threads.
    """
    ordered = drives.select(*KEYS, *columns).sort(KEYS, maintain_order=True)
    place = ordered.select(pl.struct(KEYS).rle_id()).to_series().to_numpy().astype(np.int64)
    starts, hit = np.flatnonzero(np.diff(place, prepend=-1)), np.bincount(place)
    means = {name: np.add.reduceat(ordered.get_column(name).to_numpy(), starts) / hit for name in columns}
    return (
        ordered[starts].select(KEYS).with_columns(pl.Series("hit", hit), **{n: pl.Series(v) for n, v in means.items()})
    )


def mishits(case: Case) -> list[Row]:
    """Weigh means against medians for the typical drive; the truth is the golfer's sound drives.

    Of golfers planted as inconsistent alone: their sound drives are as good as anybody's.
    """
    frontier, model = frontier_of(case, case.model), case.model
    readings = case.drives.with_columns(
        pl.Series("expected_yd", model.carry(*inputs(case.drives, "ball"))),
        (pl.col("ball_speed_mph") / pl.col("club_speed_mph")).alias("speed_ratio"),
    )
    found = typical_drives(case.drives, KEYS).join(
        golfer_means(readings, ("expected_yd", "speed_ratio", "launch_deg", "spin_rpm")), on=KEYS, suffix="_mean"
    )
    true = case.golfers.select(
        *KEYS, "kind", "mean_carry_yd",
        pl.col("club_speed_mph", "speed_ratio", "launch_deg", "spin_rpm").name.prefix("sound_"),
    )  # fmt: skip
    found = (
        found.join(true, on=KEYS).sort(KEYS).filter((pl.col("kind") == "consistency") & (pl.col("shots") >= MIN_SHOTS))
    )
    found = found.filter(pl.Series(~np.isnan(frontier.at("carry_yd", found.get_column("club_speed_mph").to_numpy()))))
    if found.is_empty():
        return []
    column = {name: found.get_column(name).to_numpy() for name in found.columns if name not in (*KEYS, "kind")}
    club, sound_club = column["club_speed_mph"], column["sound_club_speed_mph"]
    best = [model.better_speed(club), frontier.at("launch_deg", club), frontier.at("spin_rpm", club)]
    true_best = [case.curve.at(name, sound_club) for name in ("ball_speed_mph", "launch_deg", "spin_rpm")]
    sound = [sound_club * column["sound_speed_ratio"], column["sound_launch_deg"], column["sound_spin_rpm"]]

    def flown(*drive: Array) -> Array:
        return carry_yd(case.academy.ball, *drive) * case.scale

    target = parts_of(flown, true_best, sound, column["mean_carry_yd"])
    by_way = []
    for end in ("", "_mean"):
        own = [club * column[f"speed_ratio{end}"], column[f"launch_deg{end}"], column[f"spin_rpm{end}"]]
        by_way.append(parts_of(model.carry, best, own, column["expected_yd"]))
    rows = [row(f"{name}: bias, yd", *(float(np.mean(way[name] - target[name])) for way in by_way)) for name in target]
    first = [np.mean(np.argmax(np.stack(list(way.values())), axis=0) == 3) for way in by_way]
    return [*rows, row("share whose largest part is consistency", *(float(f) for f in first), 1.0)]


def fit_constant(model: CarryModel, drives: pl.DataFrame) -> tuple[CarryModel, Array]:
    """Fit carry = surface + yards of the device.

    Returns
    -------
    CarryModel
        Without offsets.
    ndarray, shape (terms of the offsets,)
        Yards.
    """
    Z, X = model.offsets.design(drives), model.surface.design(*inputs(drives, model.surface.speed))
    _, y = problem(model, drives)
    found = solve(Factor.of(np.hstack([X, Z]), y)).coefficients
    return replace(model, coefficients=found[: model.surface.size]), found[model.surface.size :]


def devices(case: Case) -> list[Row]:
    """Weigh device offsets of constant yards: error of expected carry, bias of yards lost by band."""
    other, yards = fit_constant(case.model, case.drives)
    Z = case.model.offsets.design(case.drives)
    on_it, factor = Z[:, 0] > 0, 1 + case.model.added_share(case.drives)
    x, true = inputs(case.drives, "ball"), case.true_carry_yd / case.scale * own_scale(case)
    off = [case.model.carry(*x) * factor - true, other.carry(*x) + Z @ yards - true]
    measured = case.drives.get_column("carry_standard_yd").to_numpy()
    moved = (measured / factor, measured - Z @ yards)
    frontiers = [frontier_of(case, model) for model in (case.model, other)]
    rows = [
        row(SECOND_DEVICE, *(rms(e[on_it]) for e in off)),
        row("efficient carry of bands: bias, yd", *(
            float(np.mean(f.at("carry_yd", case.bands_mph) - case.true_efficient_yd)) for f in frontiers
        )),
    ]  # fmt: skip
    lost = [_lost_error(case, frontier, carry) for frontier, carry in zip(frontiers, moved, strict=True)]
    biases = []
    for v in CENTRES_MPH:
        at = [one.filter(pl.col("band_mph") == v).get_column("error_yd") for one in lost]
        full = len(at[0]) >= LEAST_GOLFERS
        biases.append([float(np.mean(errors.to_numpy())) if full else None for errors in at])
        rows.append(row(f"yards lost on the second device, {v:g} mph: bias, yd", *biases[-1]))
    found = np.array(biases, dtype=float)
    worst = np.sqrt(np.nanmean(found**2, axis=0)).tolist() if not np.isnan(found).all() else [None, None]
    return [*rows, row(LOST_BIASES, *worst)]


def _lost_error(case: Case, frontier: Frontier, carry: Array) -> pl.DataFrame:
    """Give errors of yards lost of golfers on the device that isn't the reference: band_mph, error_yd."""
    reference = case.model.offsets.reference["device"]
    mean = golfer_means(case.drives.with_columns(pl.Series("carry_yd", carry)), ("carry_yd", "club_speed_mph"))
    mean = mean.rename({"club_speed_mph": "read_mph"})
    rows = case.golfers.filter(pl.col("device") != reference).join(mean, on=KEYS).filter(pl.col("hit") >= MIN_SHOTS)
    rows = rows.sort(KEYS)
    efficient = frontier.at("carry_yd", rows.get_column("read_mph").to_numpy())
    return rows.select(
        (10 * (pl.col("club_speed_mph") / 10).round()).alias("band_mph"),
        (pl.Series("e", efficient).fill_nan(None) - pl.col("carry_yd") - pl.col("true_lost_yd")).alias("error_yd"),
    ).drop_nulls()


def edges(case: Case) -> list[Row]:
    """Weigh a stricter rule for which bands have an efficient carry: bias at the ends against the middle."""
    kept = case.bands_mph
    strict = supported_speeds(case.population, HALF_WIDTH_MPH, STRICTER_GOLFERS, kept)
    off = efficient_yd(case, case.model, kept)[0] - case.true_efficient_yd
    by_rule = []
    for allowed in (kept, strict):
        errors = off[np.isin(kept, allowed)]
        full = len(errors) >= 3
        by_rule.append((errors[0], errors[1:-1].mean(), errors[-1]) if full else (None, None, None))
    names = ("slowest band: bias, yd", "bands between: bias, yd", "fastest band: bias, yd")
    rows = [row(name, *both) for name, both in zip(names, zip(*by_rule, strict=True), strict=True)]
    ends = [None if s is None else rms(np.array([s, f])) for s, _, f in by_rule]
    return [
        *rows,
        row("both ends: rms error, yd", *ends),
        row("bands with a figure", float(len(kept)), float(len(strict)), None),
    ]


class _NoRun:
    """Stands where run is asked for and not looked at."""

    def run_yd(self, ball_speed_mph: Array, launch_deg: Array, spin_rpm: Array) -> Array:  # noqa: ARG002
        return np.zeros(np.shape(launch_deg))


@cache
def crowd_percentiles(people: World, ball: str, speed_mph: float) -> Array:
    """Give percentiles of golfers' typical (median) carry at one club speed, true flight, yd, shape (4,)."""
    many = replace(people, golfers=CROWD, speed_mph=(speed_mph, 1e-9))
    golfers = draw_golfers(many, np.random.default_rng(5)).filter(pl.col("quarter") == QUARTERS[0])
    points = qmc.Sobol(13, seed=8).random(CROWD_DRIVES)
    form = form_of_days(people, norm.ppf(points[:, 8:]))[None]
    drives = draws_of_a_drive(norm.ppf(points[:, :6])[None], points[None, :, 6], points[None, :, 7], golfers, form)
    return np.percentile(np.median(carry_yd(ball, *drives[1:]) * (1 + form[..., 4]), axis=1), PERCENTILES)


def percentiles(case: Case, other: Callable[[CarryModel, pl.DataFrame, Array], Array]) -> list[Row]:
    """Weigh another way to percentiles of typical carry against the published ones, where these are given.

    Parameters
    ----------
    case : Case
    other : callable
        Takes the model, the golfers of a quarter and centers of bands; gives yd, shape (bands, 4).
    """
    typical = golfers_by_quarter(case.drives, case.model, MIN_SHOTS)
    table = band_table(case.model, typical, {}, BANDS, MIN_GOLFERS, _NoRun())  # type: ignore[arg-type]
    people, bands = people_of(case.academy.world), case.bands_mph
    errors, held = [], []
    for quarter in QUARTERS:
        weighed = other(case.model, typical.filter(pl.col("quarter") == quarter), bands)
        for v, found in zip(bands.tolist(), weighed, strict=True):
            told = table.row(by_predicate=(pl.col("quarter") == quarter) & (pl.col("band_mph") == v), named=True)
            if told["suppressed"]:
                continue
            true = crowd_percentiles(people, case.academy.ball, v) * case.scale
            in_use, low, high = (
                np.array([told[f"carry_p{p}_{end}yd"] for p in PERCENTILES], dtype=float)
                for end in ("", "lo90_", "hi90_")
            )
            known = ~np.isnan(in_use)
            errors.append(np.where(known, [in_use - true, found - true], np.nan))
            if told["golfers"] >= ENOUGH_GOLFERS:
                held += ((low <= true) & (true <= high))[~np.isnan(low)].tolist()
    if not errors:
        return []
    off = np.array(errors)
    rows = [row("all percentiles: rms error, yd", *(_rms_known(off[:, way]) for way in (0, 1)))]
    rows.append(
        row(f"90 % intervals that hold, {ENOUGH_GOLFERS} golfers on", np.mean(held) if held else None, None, 0.9)
    )
    for k, p in enumerate(PERCENTILES):
        if np.isnan(off[:, :, k]).all():
            continue
        rows.append(row(f"percentile {p}: bias, yd", *(float(np.nanmean(off[:, way, k])) for way in (0, 1))))
        rows.append(row(f"percentile {p}: rms error, yd", *(_rms_known(off[:, way, k]) for way in (0, 1))))
    return rows


def _rms_known(values: Array) -> float:
    return rms(values[~np.isnan(values)])


def of_the_band_alone(model: CarryModel, golfers: pl.DataFrame, bands_mph: Array) -> Array:
    """Give ordinary percentiles of each band's own golfers, moved to its center; NaN where there are none."""
    speed = golfers.get_column("club_speed_mph").to_numpy()
    found = np.full((len(bands_mph), len(PERCENTILES)), np.nan)
    for k, v in enumerate(bands_mph.tolist()):
        here = golfers.filter(pl.Series(BANDS.holds(v, speed)))
        if here.height:
            moved = at_centre(model, here, v, _NoRun())[0].to_numpy()  # type: ignore[arg-type]
            found[k] = np.percentile(moved, PERCENTILES)
    return found


def of_straight_lines(_model: CarryModel, golfers: pl.DataFrame, bands_mph: Array) -> Array:
    """Give percentiles by quantile regression of golfers' typical carry on club speed, through all of them."""
    speed, carry = (golfers.get_column(c).to_numpy() for c in ("club_speed_mph", "carry_p50_yd"))
    return np.stack([quantile_line(speed, carry, p / 100)(bands_mph) for p in PERCENTILES], axis=1)


def conformal_edges(departure: Array, golfer: npt.NDArray[np.int64], rng: np.random.Generator) -> tuple[float, float]:
    """Give the edges of a 90 % split conformal interval from one drive of each golfer, drawn at random.

    Golfers, not drives, are exchangeable, so a new golfer's drive falls inside with 90 % or more (Dunn, Wasserman and
    Ramdas, J. Am. Stat. Assoc. 118 (2023) 2491, doi 10.1080/01621459.2022.2060112).

    Raises
    ------
    ValueError
        With fewer than 19 golfers no such interval has an end.
    """
    order = rng.permutation(len(golfer))
    _, first = np.unique(golfer[order], return_index=True)
    drawn = np.sort(departure[order[first]])
    low, high = int(np.floor((len(drawn) + 1) * 0.05)), int(np.ceil((len(drawn) + 1) * 0.95))
    if low < 1 or high > len(drawn):
        raise ValueError(f"{len(drawn)} golfers are too few")
    return float(drawn[low - 1]), float(drawn[high - 1])


def equal_edges(departure: Array, golfer: npt.NDArray[np.int64]) -> tuple[float, float]:
    """Give the 5 % and 95 % quantiles over all drives, each golfer weighing the same."""
    weight = 1 / np.bincount(golfer)[golfer]
    lo, hi = np.quantile(departure, [0.05, 0.95], weights=weight, method="inverted_cdf")
    return float(lo), float(hi)


def intervals(case: Case, equal: bool) -> list[Row]:
    """Weigh conformal edges, or golfers of equal weight, for one drive's interval: coverage on fresh golfers."""
    measured, predicted = case.held.measured, case.held.predicted[EVERYTHING]
    departure, golfer = measured / np.maximum(predicted, 1.0) - 1, golfer_codes(case.drives)
    rng = np.random.default_rng([case.seed, 3])
    other = equal_edges(departure, golfer) if equal else conformal_edges(departure, golfer, rng)
    calm = replace(case.academy.world, golfers=FRESH_GOLFERS, shots=(10, 10), device_b=0.0)
    fresh = make_academy(calm, case.academy.ball, case.seed + 1).drives.rename({"carry_yd": "carry_standard_yd"})
    expected = predict_from(case.model, fresh, True, True, True)
    got = case.model.reference_carry(fresh) / expected - 1
    both = (interval_edges(measured, predicted), other)
    covered = [float(np.mean((got >= lo) & (got <= hi))) for lo, hi in both]
    return [
        row("coverage on fresh golfers", *covered, 0.9),
        row("coverage on fresh golfers: distance from 0.9", *(abs(c - 0.9) for c in covered)),
        row("width, share of carry", *(hi - lo for lo, hi in both), None),
    ]
