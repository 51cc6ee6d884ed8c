"""A small world with a truth in closed form: drives whose carry is a known surface plus noise."""

import os
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import settings
from no_skips import pytest_make_collect_report, pytest_runtest_makereport  # noqa: F401
from xdist.scheduler import LoadScopeScheduling

from pipeline.benchmark.run_and_conditions import Roller
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.flight_table import FlightTable
from pipeline.physics.turf import NORMAL

# Tests start hundreds of processes. Where Python is told to keep no bytecode, each of them would compile our modules,
# and every worker all tests.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# On a busy machine a first example that loads a library takes longer than any deadline worth setting.
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")


def true_carry_yd(ball_mph, launch_deg, spin_rpm):
    """Carry falls off as a parabola on both sides of a best launch and spin that depend on ball speed."""
    best_launch = 14 - 0.04 * (ball_mph - 135)
    best_spin = 2600 - 12 * (ball_mph - 135)
    fall = ((launch_deg - best_launch) / 9) ** 2 * 0.2 + ((spin_rpm - best_spin) / 2200) ** 2 * 0.2
    return 1.7 * ball_mph - 30 - 200 * fall


@dataclass(frozen=True)
class World:
    """Drives with the planted delivery of each golfer."""

    drives: pl.DataFrame
    golfers: pl.DataFrame


def make_world(seed=3, golfers=80, shots=30, noise_yd=3.0, share_b=0.03):
    rng = np.random.default_rng(seed)
    speed = np.linspace(68, 115, golfers)
    ratio = rng.normal(1.46, 0.02, golfers)
    launch = 14 - 0.04 * (1.46 * speed - 135) + rng.normal(0, 1.8, golfers)
    spin = 2600 - 12 * (1.46 * speed - 135) + rng.normal(0, 350, golfers)
    device = np.where(np.arange(golfers) % 3 == 0, "unit-B", "unit-A")
    names = [f"g{index:016x}" for index in range(golfers)]
    who = np.repeat(np.arange(golfers), shots)
    n = len(who)
    club = speed[who] * rng.normal(1, 0.012, n)
    ball = club * (ratio[who] + rng.normal(0, 0.012, n))
    shot_launch = launch[who] + rng.normal(0, 1.0, n)
    shot_spin = spin[who] * rng.normal(1, 0.07, n)
    flown = true_carry_yd(ball, shot_launch, shot_spin)
    carry = flown * (1 + share_b * (device[who] == "unit-B")) + rng.normal(0, noise_yd, n)
    drives = pl.DataFrame(
        {
            "golfer": np.array(names)[who],
            "quarter": "2026Q3",
            "device": device[who],
            "ball": "premium",
            "club_speed_mph": club,
            "ball_speed_mph": ball,
            "launch_deg": shot_launch,
            "spin_rpm": shot_spin,
            "carry_standard_yd": carry,
            "flown_yd": 0.97 * flown,  # a flight that could not be calibrated
            "spin_measured": True,
        }
    )
    planted = pl.DataFrame(
        {"golfer": names, "club_speed_mph": speed, "speed_ratio": ratio, "launch_deg": launch, "spin_rpm": spin}
    )
    return World(drives, planted)


@pytest.fixture(scope="session")
def world():
    return make_world()


@pytest.fixture(scope="session")
def world_maker():
    return make_world


@pytest.fixture(scope="session")
def world_carry():
    return true_carry_yd


@pytest.fixture(scope="session")
def roller():
    """Run on a normal fairway at sea level, by a table of flights."""
    air = Air.of(15.0, 101325.0, 0.0)
    return Roller(FlightTable.build(Ball(drag=0.9), float(air.density_kg_m3), float(air.viscosity_pa_s)), NORMAL)


def pytest_addoption(parser):
    parser.addoption(
        "--renew-golden", action="store_true", help="write the demo run's golden numbers anew instead of checking them"
    )


# Files of tests that share one run of the demo; the others of the workflow run studies of their own.
SHARING = (
    "test_card_and_methods.py",
    "test_commands.py",
    "test_compare_runs.py",
    "test_demo_run.py",
    "test_demo_straightness.py",
    "test_documents.py",
    "test_golden.py",
    "test_looking.py",
    "test_pages.py",
    "test_readme.py",
    "test_rerun.py",
    "test_run.py",
    "test_two_keys.py",
)


# Files that open pages in a browser again and again: a run of their own, `pytest -m pages`, which CI does last.
PAGES = (
    "test_academy_names.py",
    "test_academy_page.py",
    "test_golfer_sheet.py",
    "test_golfer_straight.py",
    "test_golfer_teaching.py",
    "test_golfer_view.py",
    "test_lookup_install.py",
    "test_lookup_page.py",
    "test_lookup_students.py",
    "test_view_bands.py",
    "test_view_data.py",
)


def pytest_collection_modifyitems(items):
    """Begin with the tests that share the demo's run, then the workflow's others; mark those of `PAGES`."""
    for item in items:
        if item.path.name in PAGES and item.get_closest_marker("long") is None:
            item.add_marker(pytest.mark.pages)
    items.sort(key=lambda item: (item.path.name not in SHARING, item.path.parent.name != "workflow"))


class ByFile(LoadScopeScheduling):
    """Share tests out over processes by file; those that share the demo's run stay together."""

    def _split_scope(self, nodeid):
        file = nodeid.split("::")[0]
        return "demo" if Path(file).name in SHARING else file


# A scheduler of our own, as pytest-xdist's grouping by marks needs an older pytest: from 9.2 on it groups nothing.
@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    config.option.loadscopereorder = False  # else the files with most tests come first
    return ByFile(config, log)
