"""What docs/ says of the longer studies is what their committed figures say."""

import json
import re
from pathlib import Path

import polars as pl
import pytest

ROOT = Path(__file__).parents[2]
EVIDENCE = ROOT / "docs/evidence"  # of the proving ground, of speed and of flight


def table(name):
    return pl.read_csv(EVIDENCE / name, infer_schema_length=None).to_dicts()


def document(name):
    return (ROOT / "docs" / name).read_text(encoding="utf-8")


def rows(section):
    """Give the cells of the rows of a section's tables: first cell, the others."""
    part = document("evidence.md").split(f"\n## {section}\n")[1].split("\n## ")[0]
    found = [[cell.strip() for cell in line.strip("|").split("|")] for line in part.splitlines() if line[:2] == "| "]
    return {first: others for first, *others in found}


def shown(form, *values):
    """Format values; a rounded zero has no sign."""
    return re.sub(r"-(0\.0+)\b", r"\1", form.format(*values))


GROUND = "proving_ground"

# The page's words for those of the proving ground's own README.
WORDS = (
    ("hold the truth", "cover the true value"), ("hold zero", "include zero"), ("change told", "change reported"),
    ("told as more than chance", "reported as a real change"),
)  # fmt: skip

# Rows of the coach's table by how they begin, the form of what was measured, and whose it is: measures of coach.csv (a
# number below: so many rows below it, whose name is "the same"). % makes a share one in a hundred.
COACH = [
    ("club speed", "{:.1f} mph; {:.0f} %", ("speed for a goal, efficient delivery: bias, mph", 1)),
    ("the same with", "{:.1f} mph; {:.0f} %", ("speed for a goal, present delivery: bias, mph", 1)),
    (
        "yards to a goal",
        "{0:.1f} and {2:.1f} yd; {1:.0f} and {3:.0f} %",
        ("yards to a goal by delivery: bias, yd", 1),
        ("yards to a goal by speed: bias, yd", 1),
    ),
    ("delivery or speed", "{:.1f} %", "%speed or delivery first, where one is named: share right"),
    ("progress", "{:.0f} %; {:.0f} %", ("%progress: 90 % intervals of changes that hold the truth", 1)),
    ("nothing changed: reported as better", "{:.1f} %", "%nothing changed: share told better, worse or changed"),
    (
        "half the golfers",
        "{:.0f} % (standard error 1)",
        "%half changed: of those told, share told wrongly, worst measure",
    ),
    (
        "slopes",
        "{:.0f} and {:.0f} %",
        "%slope on attack within golfers: bias, of what loft does",
        "%slope on loft within golfers: bias, of what loft does",
    ),
    (
        "gain by",
        "{0:.1f} and {2:.1f} yd; {1:.0f} and {3:.0f} %",
        ("gain by a change of loft: bias, yd", 1),
        ("gain by more attack on top: bias, yd", 1),
    ),
    ("speed practice: gain", "{:.3f} mph; {:.0f} %", ("practice: bias of the gain in best speed, mph per week", 1)),
    ("speed practice: 90 %", "{:.0f} %", "%practice: ranges of the projected day that hold the truth"),
]


def judged(listed, name, wanted, value):
    """Give values of the measures, and whether all are met."""
    values, met = [], []
    for one in wanted:
        measure, below = one if isinstance(one, tuple) else (one, 0)
        names = [row[name] for row in listed]
        assert names.count(measure.removeprefix("%")) == 1, measure
        first = names.index(measure.removeprefix("%"))
        for row in listed[first : first + below + 1]:
            share = measure.startswith("%") or row is not listed[first]
            values.append(float(row[value]) * (100 if share else 1))
            met.append(row.get("met", row.get("verdict")) in ("yes", "met"))
    return values, all(met)


def table_under(text, title):
    """Give the lines of a section's table."""
    part = text.split(f"\n## {title}\n")[1].split("\n## ")[0]
    return [line for line in part.splitlines() if line.startswith("|")]


def worded(line):
    for theirs, ours in WORDS:
        line = line.replace(theirs, ours)
    return line


@pytest.mark.parametrize("rule", COACH, ids=lambda one: one[0])
def test_the_coachs_table_is_its_figures(rule):
    begin, form, *wanted = rule
    (printed,) = [cells for what, cells in rows("The proving ground").items() if what.startswith(begin)]
    values, met = judged(table(f"{GROUND}/coach.csv"), "measure", wanted, "value")
    assert printed[1:] == [shown(form, *values), "met" if met else "**missed**"]


def test_the_worst_worlds_are_those_of_the_proving_grounds_own_page():
    full = (EVIDENCE / GROUND / "README.md").read_text(encoding="utf-8")
    worst = [worded(line) for line in table_under(full, "The worst world of each target")]
    assert len(worst) > 12
    printed = table_under(document("evidence.md"), "The proving ground")
    assert printed[: len(worst)] == worst
    assert len(printed) == len(worst) + 2 + len(COACH)
    half = "half changed: of those told, share told wrongly, worst measure"
    (row,) = [row for row in table(f"{GROUND}/coach.csv") if row["measure"] == half]
    assert f"(standard error {round(100 * row['std_error'])})" in document("evidence.md")


def test_the_worst_world_of_a_target_is_the_one_farthest_out():
    """Of the gravest verdict the farthest out, as by_world.csv lists them."""
    full = (EVIDENCE / GROUND / "README.md").read_text(encoding="utf-8")
    printed = [[cell.strip() for cell in line.strip("|").split("|")] for line in table_under(
        full, "The worst world of each target")][2:]  # fmt: skip
    listed = [row for row in table(f"{GROUND}/by_world.csv") if row["measured"] is not None]
    for what, _, world, *_, met, unsure, missed in printed:
        here = [row for row in listed if row["what"] == what]
        worst = max(here, key=lambda row: (row["rank"], row["outside"]))
        assert worst["world"] == world, what
        ranks = [row["rank"] for row in here]
        assert [int(met), int(unsure), int(missed)] == [ranks.count(rank) for rank in (1, 2, 3)], what


def test_the_number_of_worlds_is_the_proving_grounds():
    worlds = table(f"{GROUND}/worlds.csv")
    text = " ".join(document("evidence.md").split())
    full = (EVIDENCE / GROUND / "README.md").read_text(encoding="utf-8")
    drawn = re.search(r"(\d+ invented academies in (\d+) worlds)", text)
    assert int(drawn.group(2)) == len(worlds)
    assert drawn.group(1) in full


@pytest.fixture(scope="module")
def speed():
    found = {(row["measure"], row["drives"]): (row["value"], row["verdict"]) for row in table("speed/speed.csv")}
    return lambda measure, drives=1_000_000: found[measure, drives]


def test_the_speeds_are_those_measured(speed):
    printed = rows("Speed and memory")
    for drives in (100_000, 1_000_000, 10_000_000):
        wall, step, peak = (speed(f"growth_{one}", drives)[0] for one in ("wall", "step_peak", "peak"))
        seconds = f"{wall:.1f} s" if wall < 100 else f"{wall:.0f} s"
        assert printed[f"{drives:,}"] == [seconds, f"{step:,.0f} MB", f"{peak:,.0f} MB"]
    expected = {
        "the same job": ("plain_wall_ratio", "{:.1f} times", 1_000_000),
        "collecting a log": ("collect_over_copy", "{:.1f} times", 1_000_000),
        "fit": ("fit_over_pass", "{:.1f} times", 1_000_000),
        "drives moved": ("standardise_rate", "{:,.0f}", 1_000_000),
        "growth of time": ("growth_slope", "{:.2f}", 10_000_000),
        "a run in which nothing": ("unchanged_wall", "{:.1f} s", 1_000_000),
        "`yardband lookup`": ("lookup_s", "{:.2f} s", 0),
    }
    for begin, (measure, form, drives) in expected.items():
        (what,) = [one for one in printed if one.startswith(begin)]
        value, verdict = speed(measure, drives)
        assert printed[what][1:] == [form.format(value), "**missed**" if verdict == "MISSED" else "met"], what
    assert len(printed) == 3 + len(expected) + len(("drives", "what"))


def test_what_two_codes_in_turn_took_is_what_was_measured():
    printed = rows("Beside an earlier commit")
    measured = {(row["task"], row["side"]): row["wall_s"] for row in table("side_by_side/side_by_side.csv")}
    tasks = list(dict.fromkeys(task for task, _ in measured))
    assert sorted(printed) == sorted(["task", *tasks])
    for task in tasks:
        before, now = measured[task, "before"], measured[task, "now"]
        seconds = [
            f"{one:.2f} s" if one < 1 else f"{one:.1f} s" if one < 100 else f"{one:.0f} s" for one in (before, now)
        ]
        assert printed[task][:3] == [*seconds, f"{before / now:.1f}"], task
        target = re.findall(r"[\d.]+$", printed[task][3])
        assert not target or ("missed" in printed[task][3]) == (before / now < float(target[0])), task


def test_the_machine_and_what_is_said_elsewhere_of_large_studies_fit(speed):
    assert json.loads((EVIDENCE / "speed/machine.json").read_text(encoding="utf-8"))["cores"] == 2
    own_study, cluster = (" ".join(document(name).split()) for name in ("own-study.md", "cluster.md"))
    million_s, ten = speed("growth_wall", 1_000_000)[0], speed("growth_wall", 10_000_000)[0] / 60
    largest = speed("growth_step_peak", 10_000_000)[0] / 1000
    assert f"a first run of a million drives takes {million_s:.0f} s" in own_study
    minutes, most = re.search(r"takes about (\d+) minutes and at most (\S+) GB a step", own_study).groups()
    assert int(minutes) - 1 < ten < int(minutes)
    assert float(most) - 0.1 < largest < float(most)
    assert f"the largest step took {largest:.1f} GB at ten million drives" in cluster


def test_the_accuracy_of_flight_is_that_measured():
    accuracy, fast = table("flight/accuracy.csv"), table("flight/speed.csv")

    def worst(comparison):
        return max(row["worst_yd"] for row in accuracy if row["comparison"] == comparison)

    def least(quantity):
        return min(row["figure"] for row in fast if row["quantity"] == quantity)

    yards, rate, times = "0.02 yd", "1,000,000 shots/s", "300 times"
    looked_up, loop, tightest = (
        least(quantity) for quantity in ("table_carry_calm", "array_solver_loop_over_direct", "solver_loop_over_direct")
    )
    expected = {
        "table against": (yards, f"{worst('table_calm'):.5f} yd", worst("table_calm") <= 0.02),
        "the same in winds": (yards, f"{worst('table_wind'):.5f} yd", worst("table_wind") <= 0.02),
        "direct integration": (yards, f"{worst('solver'):.5f} yd", worst("solver") <= 0.02),
        "carry looked up": (rate, f"{looked_up:,.0f} shots/s", looked_up >= 1_000_000),
        "a loop over `solve_ivp` around": (times, f"{loop:.0f} times", loop >= 300),
        "a loop over `solve_ivp` in": (times, f"{tightest:.0f} times", tightest >= 300),
    }
    printed = rows("Flight")
    for begin, (wanted, measured, met) in expected.items():
        (what,) = [one for one in printed if one.startswith(begin)]
        assert printed[what] == [wanted, measured, "met" if met else "**missed**"], what
    assert len(printed) == len(expected) + 1
