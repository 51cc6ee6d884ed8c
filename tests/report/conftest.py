"""An invented academy for the tests of the report: two quarters, five bands, every awkward case."""

from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from browser import chromium, open_page  # noqa: F401
from coach_tables import LIGHT_TOOL, page_tables
from fitting import fit_to, own_candidate
from frontiers import frontier_at, plain_model
from lookup_studies import usual_drives
from pydantic import TypeAdapter
from rows import table_of
from small_academy import academy  # noqa: F401

from pipeline.benchmark.chart import Chart
from pipeline.benchmark.drives_near import INSIDE, drives_near
from pipeline.benchmark.reach import NODE_EVERY, Reach
from pipeline.coach.goals.pace import Gain, Pace
from pipeline.drives import inputs
from pipeline.edge.artefacts import write_arrays, write_artefact
from pipeline.fit.candidates import candidates_for
from pipeline.fit.flight_surface import FlightMaker
from pipeline.fit.model import FittedModel, FittedOn, known_key
from pipeline.fit.survey import Survey
from pipeline.fit.usual_delivery import UsualDelivery
from pipeline.fit.verdict import NEWEST, Choice, ModelInUse, ModelVerdict
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.report.lookup import write_lookup
from pipeline.statistics.drive_spread import UsualReaching
from pipeline.tables import registry
from pipeline.tables.figures import BandTable, Calibrations, Scores
from pipeline.tables.golfers import Changes, Golfers
from pipeline.tables.logs import Rejects, Sources
from pipeline.tables.practice import Practice
from pipeline.tables.table_set import TableSet

CENTRES = [70, 80, 90, 100, 110]


@pytest.fixture
def settings():
    return {
        "study": "hill-school",
        "bands": {"centres": CENTRES, "half_width_mph": 5},
        "flags": {"lost_yd": 10, "false_discovery_rate": 0.1, "min_shots": 12},
        "privacy": {"key_file": "private/pseudonym.key", "min_golfers": 5},
        "window_tolerance_yd": 5,
        "units": "yards",
        "flight": {"coefficients": "best", "turf": "firm"},
    }


def golfer_rows(count, seed):
    """Make golfers of one quarter: one in four short by 15 to 40 yd, one in ten not assessed."""
    random = np.random.default_rng(seed)
    speed = random.uniform(66, 112, count)
    kind = np.arange(count)
    flagged, unassessed = kind % 4 == 1, kind % 10 == 6
    parts = random.normal(0, 1.5, (5, count))
    parts[kind % 5, kind] += np.where(flagged, random.uniform(15, 40, count), 2.0)
    contact_known = (kind % 7 != 5) | (kind % 5 == 0)
    parts[0] *= contact_known
    lost = parts.sum(axis=0)
    efficient = 2.55 * speed - 14
    table = pl.DataFrame(
        {
            "golfer": [f"g{0x9E3779B97F4A7C15 * (k + 100 * seed) % 2**64:016x}" for k in range(1, count + 1)],
            "shots": random.integers(12, 60, count),
            "club_speed_mph": speed,
            "ball_speed_mph": np.where(contact_known, 1.45 * speed, np.nan),
            "launch_deg": 13 + random.normal(0, 2.5, count),
            "spin_rpm": 2700 + random.normal(0, 500, count),
            "carry_yd": efficient - lost,
            "efficient_yd": efficient,
            "lost_yd": lost,
            "lost_lo90_yd": lost - 4,
            "lost_hi90_yd": lost + 4,
            "lost_contact_yd": np.where(contact_known, parts[0], np.nan),
            "lost_launch_yd": parts[1],
            "lost_spin_yd": parts[2],
            "lost_consistency_yd": parts[3],
            "lost_other_yd": parts[4],
            "p_value": np.where(flagged, 0.0004, 0.6),
            "q_value": np.where(flagged, 0.0008, 0.8),
            "flagged": flagged,
            "ranked_lost_yd": 0.9 * lost + 0.4,
            "ranked_lo90_yd": 0.9 * lost - 3.2,
            "ranked_hi90_yd": 0.9 * lost + 4.0,
        }
    ).fill_nan(None)
    causes = pl.Series("cause", np.array(["contact", "launch", "spin", "consistency", "mixed"])[kind % 5])
    efficiency = ["efficient_yd", "lost_yd", "lost_lo90_yd", "lost_hi90_yd", "p_value", "q_value", "lost_contact_yd"]
    efficiency += ["ranked_lost_yd", "ranked_lo90_yd", "ranked_hi90_yd"]
    efficiency += ["lost_launch_yd", "lost_spin_yd", "lost_consistency_yd", "lost_other_yd"]
    left_out = pl.Series("left_out", unassessed)
    return table.with_columns(
        pl.when(~left_out).then(pl.col(*efficiency)),
        flagged=pl.col("flagged") & ~left_out,
        main_cause=pl.when(pl.col("flagged") & ~left_out).then(causes).otherwise(pl.lit("none")),
        status=pl.when(left_out).then(pl.lit("not_assessed"))
        .when(pl.col("flagged")).then(pl.lit("flagged")).otherwise(pl.lit("clear")),
        note=pl.when(left_out).then(pl.lit("fewer than 12 drives")),
    )  # fmt: skip


@pytest.fixture
def golfers():
    both = [golfer_rows(24, 1).with_columns(quarter=pl.lit("2026Q2"))]
    both.append(golfer_rows(44, 2).with_columns(quarter=pl.lit("2026Q3")))
    return table_of(Golfers, pl.concat(both))


@pytest.fixture
def changes(golfers):
    """Hold the newest quarter's assessed golfers against 2026Q2: new flags, flags that stay or are gone, and none."""
    random = np.random.default_rng(3)
    now = golfers.filter((pl.col("quarter") == "2026Q3") & (pl.col("status") != "not_assessed")).sort("golfer")
    place = np.arange(now.height)
    flagged = now["flagged"].to_numpy()
    change = random.normal(-2, 8, now.height)
    word = np.where(flagged, np.where(place % 3 == 0, "new", "still"), np.where(place % 5 == 0, "no_longer", "clear"))
    sure = np.abs(change) > 7
    rows = now.select("golfer", "quarter", "shots").with_columns(
        since=pl.lit("2026Q2"),
        shots_before=pl.lit(25),
        club_speed_change_mph=pl.Series(random.normal(0, 1, now.height)),
        carry_change_yd=pl.Series(-change),
        lost_change_yd=pl.Series(change),
        lost_change_lo90_yd=pl.Series(change - 5),
        lost_change_hi90_yd=pl.Series(change + 5),
        p_value=pl.Series(np.where(sure, 0.001, 0.5)),
        q_value=pl.Series(np.where(sure, 0.01, 0.7)),
        more_than_chance=pl.Series(sure),
        movement=pl.Series(word),
        chance_change_yd=pl.Series(np.where(word == "clear", 0.3, -1.26)),
    )
    return table_of(Changes, rows)


@pytest.fixture
def model():
    choice = Choice("k0123456789ab", NEWEST, "k0123456789ab")
    return ModelInUse(choice, FittedOn(3000, 60, ("2026Q2", "2026Q3")), "first", None)


@pytest.fixture
def bands():
    """Make five bands and two quarters; 110 mph is suppressed, 70 mph has no window."""
    speed = np.array(CENTRES, dtype=float)
    median = 2.4 * speed - 8.25
    one = pl.DataFrame(
        {
            "band_mph": speed,
            "golfers": [6, 9, 14, 10, None],
            "shots": [150, 260, 410, 1300, None],
            "carry_p25_yd": median - 8,
            "carry_p50_yd": median,
            "carry_p75_yd": median + 7,
            "carry_p90_yd": median + 11,
            "efficient_carry_yd": 2.55 * speed - 14,
            "efficient_lo90_yd": 2.55 * speed - 16.6,
            "efficient_hi90_yd": 2.55 * speed - 11.4,
            "total_p25_yd": median + 13.5,
            "total_p50_yd": median + 24,
            "total_p75_yd": median + 28,
            "total_p90_yd": median + 34,
            "efficient_total_yd": 2.7 * speed - 4,
            "launch_lo_deg": [None, 12.04, 11.06, 10.0, None],
            "launch_hi_deg": [None, 16.0, 15.25, 14.5, None],
            "spin_lo_rpm": [None, 2311.0, 2104.0, 1986.0, None],
            "spin_hi_rpm": [None, 3204.0, 2996.0, 2751.0, None],
            "total_launch_lo_deg": [None, 11.0, 10.25, 9.0, None],
            "total_launch_hi_deg": [None, 15.5, 14.5, 13.25, None],
            "total_spin_lo_rpm": [None, 2204.0, 1951.0, 1848.0, None],
            "total_spin_hi_rpm": [None, 3104.0, 2896.0, 2603.0, None],
            "speed_ratio_p50": [1.416, 1.43, 1.444, 1.45, None],
            "in_window_share": [None, 0.333, 0.5, 0.404, None],
            "suppressed": [False, False, False, False, True],
            "note": ["no window | too few deliveries", None, None, None, None],
        }
    )
    empty = pl.when(~pl.col("suppressed")).then(pl.col("^(carry|total|efficient)_.*$"))
    one = one.with_columns(empty)
    older = one.with_columns(pl.col("^(carry|total)_p.*$") - 3.25)
    both = [older.with_columns(quarter=pl.lit("2026Q2")), one.with_columns(quarter=pl.lit("2026Q3"))]
    return table_of(BandTable, pl.concat(both))


def chart_band(band_mph):
    """Make the map of one band, a smooth hill of carry; where the lookup answers and what golfers reach are ovals."""
    launch, spin = np.linspace(4, 22, 37), np.linspace(1200, 4800, 37)
    off_launch, off_spin = launch[:, None] - 13, (spin[None, :] - 2500) / 300
    efficient = 2.55 * band_mph - 14
    carry = efficient - 0.6 * off_launch**2 - 0.8 * off_spin**2 - 0.4 * off_launch * off_spin
    turns = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    oval = np.stack([13 + 6 * np.cos(turns), 2500 + 4.5 * 300 * np.sin(turns)], axis=-1)
    reachable = (off_launch / 3) ** 2 + (off_spin / 2.2) ** 2 < 1
    window = {"launch_lo_deg": 11.5, "launch_hi_deg": 14.5, "spin_lo_rpm": 2100.0, "spin_hi_rpm": 2900.0}
    return {
        "band_mph": band_mph,
        "launch_deg": launch.tolist(),
        "spin_rpm": spin.tolist(),
        "expected_carry_yd": carry.tolist(),
        "answered": [oval.tolist()],
        "reach_launch_deg": launch.tolist(),
        "reach_spin_rpm": spin.tolist(),
        "reachable": reachable.tolist(),
        "window": window,
        "efficient_carry_yd": efficient,
        "best_launch_deg": 13.0,
        "best_spin_rpm": 2500.0,
    }  # fmt: skip


@pytest.fixture
def chart():
    speed = np.arange(60, 121, 1.0)
    carry = 2.55 * speed - 14
    known = (speed >= 65) & (speed <= 113)

    def curve(values):
        return [value if ok else None for value, ok in zip(values.tolist(), known, strict=True)]

    maps = [chart_band(centre) for centre in CENTRES]
    maps[0]["window"] = None
    nothing = {"answered": [[[13.0, 2500.0]] * 3], "reachable": [[False] * 37] * 37}
    maps[4] |= {**nothing, "window": None, "efficient_carry_yd": 260.0}
    made = {
        "study": "hill-school",
        "quarter": "2026Q3",
        "speeds_mph": speed.tolist(),
        "efficient_carry_yd": curve(carry),
        "efficient_lo90_yd": curve(carry - 2.6 - 0.01 * (speed - 90) ** 2),
        "efficient_hi90_yd": curve(carry + 2.6 + 0.01 * (speed - 90) ** 2),
        "bands": maps,
    }
    return TypeAdapter(Chart).validate_python(made)


@pytest.fixture
def scores():
    rows = pl.DataFrame(
        {
            "model": ["straight line", "second order", "splines"],
            "terms": [6, 12, 31],
            "golfers": [60, 60, 60],
            "shots": [3000, 3000, 3000],
            "rmse_yd": [11.234, 8.126, 8.101],
            "rmse_std_error_yd": [0.41, 0.305, 0.3],
            "mae_yd": [8.9, 6.4, 6.3],
            "bias_yd": [0.31, -0.002, 0.04],
            "coverage90": [0.871, 0.9038, 0.9],
            "chosen": [False, True, False],
        }
    )
    return table_of(Scores, rows)


@pytest.fixture
def sources():
    rows = pl.DataFrame(
        {
            "source": ["logs/bay_1.csv", "logs/bay_2.csv"],
            "sha256": ["0" * 64, "1" * 64],
            "status": ["used", "refused"],
            "rows": [1000, 0],
            "accepted": [980, 0],
            "rejected": [14, 0],
            "duplicates": [6, 0],
            "reason": [None, "the column <script>alert(1)</script> is not there"],
        }
    )
    return table_of(Sources, rows)


@pytest.fixture
def rejects():
    rules = ["too_high"] * 5 + ["missing"] * 8 + ["speed_ratio_too_high"]
    columns = ["spin_rpm"] * 5 + ["carry_yd"] * 8 + ["ball_speed_mph"]
    rows = pl.DataFrame({"source": ["logs/bay_1.csv"] * 14, "row": range(1, 15), "rule": rules, "column": columns})
    return table_of(Rejects, rows)


@pytest.fixture
def calibrations():
    rows = pl.DataFrame(
        {
            "coefficients": ["flat-air", "ridge-1990", "tunnel"],
            "drag": [1.15704, 0.92778, 0.77545],
            "drag_std_error": [0.0128, 0.00217, 0.00626],
            "lift": [0.93592, 1.01413, 0.81453],
            "lift_std_error": [0.01715, 0.00425, 0.00858],
            "residual_sd_yd": [9.498, 3.335, 6.831],
            "drives": [1900, 1900, 1900],
            "golfers": [83, 83, 83],
            "kept": [False, True, False],
            "note": ["fitted"] * 3,
        }
    )
    return table_of(Calibrations, rows)


@pytest.fixture
def academy_tables(golfers, changes, bands, scores, sources, rejects, calibrations):
    """Give the page's tables but for the coach's; a table that no test is about has no rows."""
    empty = {one: one.create_empty() for one in registry.tables() if one.FILES and one.FILES[0].endswith(".csv")}
    del empty[Practice]  # which only a study with speed logs has
    made = {Golfers: golfers, Changes: changes, BandTable: bands, Scores: scores, Sources: sources, Rejects: rejects}
    return TableSet({**empty, **made, Calibrations: calibrations})


@pytest.fixture
def tables(academy_tables, golfers):
    """Give every table of the page."""
    return TableSet({**academy_tables.frames, **page_tables(golfers).frames})


@pytest.fixture
def study_files(tmp_path, tables, chart, model):
    """Write every input of the two steps; paths by name."""
    paths = {}
    for schema, table in tables.frames.items():
        file = Path(schema.FILES[0]).name
        paths[file.removesuffix(".csv")] = str(tmp_path / file)
        table.write_csv(tmp_path / file)
    paths["chart"] = str(tmp_path / "chart.json")
    write_artefact(tmp_path / "chart.json", chart)
    paths["light_tool"] = str(tmp_path / "light_tool.json")
    write_artefact(paths["light_tool"], LIGHT_TOOL)
    paths["card"] = str(tmp_path / "card.md")
    (tmp_path / "card.md").write_text("# Model card\n\nFitted on <b>60</b> golfers.\n", encoding="utf-8")
    verdict = ModelVerdict(model.choice.id, model.held_against, model.verdict, ())
    for name, content in (("model", FittedModel("hill-school", plain_model(), model.fitted_on)), ("which", verdict)):
        paths[name] = str(tmp_path / f"{name}.json")
        write_artefact(paths[name], content)
    return paths


@pytest.fixture
def figure_paths(tmp_path):
    maps = [f"delivery_{centre}{paper}" for centre in CENTRES for paper in ("", "_dark")]
    names = ["carry_by_speed", *maps, "losses"]
    return [str(tmp_path / "figures" / f"{name}.{kind}") for name in names for kind in ("png", "svg")]


def own_terms(speed, launch, spin):
    """Give terms of no input, of one, of two and of all three, as a researcher may write them."""
    return {
        "one": np.ones_like(speed),
        "speed": speed,
        "bow": np.log(speed) * 100,
        "launch": np.sin(launch / 9),
        "spin": np.sqrt(spin),
        "off its best": ((spin - 2600 + 12 * (speed - 135)) / 1000) ** 2,
        "launch off its best": (launch - 14 + 0.04 * (speed - 135)) ** 2,
        "all": speed * np.exp(-spin / 3000) * np.sqrt(launch + 10),
    }


@pytest.fixture(scope="session")
def lookup_models(world):
    """Fit one model of each kind to the drives of the small world; `blind` ones know no ball speed."""
    blind = world.drives.with_columns(ball_speed_mph=pl.lit(None, pl.Float64))
    flight = FlightMaker.of(Ball("lyu-2018", 1.1, 0.9), Air.of(15.0, 101325.0, 0.0), inputs(world.drives, "ball"))
    seeing = {made.name: (made, world.drives) for made in candidates_for("ball", flight)}
    seeing["own"] = (own_candidate("own", own_terms, Survey.of(world.drives).extents), world.drives)
    unseeing = {f"blind {made.name}": (made, blind) for made in candidates_for("club")}
    interval = {
        known_key(*known): (-0.06 + 0.01 * sum(known), 0.05 - 0.011 * known[0] - 0.007 * known[2])
        for known in product((False, True), repeat=3)
    }
    made = {
        name: (fit_to(candidate, drives).model.with_interval(interval), drives)
        for name, (candidate, drives) in (seeing | unseeing).items()
    }
    model, drives = made["flight"]
    bends = {"speed_ratio": -0.001, "better_ratio": -0.001, "launch": 0.06, "spin": 15.0}
    lines = {
        name: replace(getattr(model.usual, name), bend=bend, knots_mph=(78.0, 91.0, 106.0))
        for name, bend in bends.items()
    }
    return made | {"bent flight": (replace(model, usual=UsualDelivery(**lines)), drives)}


def reach_of(near):
    """Make the inner half of each ellipse of drives near reachable, to steps of half a degree and 50 rpm."""
    launch, spin = np.arange(4, 24.01, 0.5), np.arange(1000, 5001, 50.0)
    step = np.stack(np.meshgrid(launch, spin, indexing="ij"), axis=-1)[None] - near.mean[:, None, None]
    far = np.einsum("nijk,nkl,nijl->nij", step, near.inverse, step)
    doubt = np.full((len(near.mean), len(launch[::NODE_EVERY]), len(spin[::NODE_EVERY])), 1.5)
    return Reach.of(launch, spin, list(far <= INSIDE / 4), list(doubt))


def lookup_frontier(drives, air, turf):
    """Make what is efficient from 70 to 112 mph; none at 90 and 91 mph, no window at 75 and 76 mph."""
    speeds = np.array([v for v in range(70, 113) if v not in (90, 91)], dtype=float)
    carry = 2.61 * speeds - 16 + (speeds % 3) / 3
    yards = {"lo90_yd": carry - 1.4, "hi90_yd": carry + 1.3, "total_yd": carry + 24.25}
    best = {"launch_deg": 14.5, "spin_rpm": 2650.0, "total_launch_deg": 13.25, "total_spin_rpm": 2400.0}
    window = {"launch_lo_deg": 13.0, "launch_hi_deg": 20 - speeds / 25, "spin_lo_rpm": 2300.0}
    window |= {"spin_hi_rpm": 3500 - 5 * speeds}
    without = np.isin(speeds, (75, 76))
    edges = {name: np.where(without, np.nan, values) for name, values in window.items()}
    near = drives_near(drives, speeds, 5.0)
    return frontier_at(speeds, carry, near=near, reach=reach_of(near), air=air, turf=turf, **yards, **best, **edges)


@pytest.fixture(scope="session")
def lookup_folder(lookup_models, tmp_path_factory):
    """Give a function that makes a study's results with one of the models, the coach's page among them."""
    made = {}

    def make(name, coefficients="smits-smith-1994", turf="normal"):
        if (name, coefficients, turf) in made:
            return made[name, coefficients, turf]
        folder = tmp_path_factory.mktemp("results")
        model, drives = lookup_models[name]
        kept = Calibration(coefficients, 0.93, 1.04, None, None, [], 0, 0, None, None, "as published")
        fitted_on = FittedOn(drives.height, 80, ("2026Q2", "2026Q3"))
        air = {"temp_c": 20.0, "pressure_hpa": 980.0, "humidity": 0.4}
        content = {
            "model": FittedModel("hill-school", model, fitted_on),
            "frontier": lookup_frontier(drives, air, turf),
            "calibration": StudyFlight(kept, 1.46),
            "pace": Pace(Gain(0.4, 0.1, 0.2, 0.6, 0.5, 40, 60)),
        }
        content["usual_reaching"] = UsualReaching(usual_drives(0.05), usual_drives(0.06))
        places = {"model": "model", "frontier": "model", "calibration": "flight", "pace": "golfers"}
        places["usual_reaching"] = "golfers"
        paths = {key: folder / place / f"{key}.json" for key, place in places.items()}
        for key, path in paths.items():
            write_artefact(path, content[key])
        paths["replicates"] = folder / "model" / "replicates.npz"
        spread = np.random.default_rng(3).normal(0, 1e-3, (40, len(model.coefficients)))
        write_arrays(paths["replicates"], {"coefficients": model.coefficients * (1 + spread)})
        page = folder / "report" / "lookup.html"
        settings = {"window_tolerance_yd": 5, "min_golfers": 5}
        write_lookup.run(**{key: str(path) for key, path in paths.items()}, page=str(page), **settings)
        made[name, coefficients, turf] = folder
        return folder

    return make
