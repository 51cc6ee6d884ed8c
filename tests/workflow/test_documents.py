"""The documents are true: their figures are the demo run's, and they name every file that a run makes."""

import re
import shutil

import forked
import polars as pl
import pytest
from on_request import ON_REQUEST

from pipeline.benchmark.frontier import WINDOW_EDGES
from pipeline.benchmark.window import Window
from pipeline.collect.key import read_key
from pipeline.collect.pseudonym import pseudonym
from pipeline.shown import window_parts


def plain(text):
    return " ".join(text.split())


def section(text, title):
    return text.split(f"\n## {title}\n")[1].split("\n## ")[0]


@pytest.fixture(scope="module")
def documents(root):
    return {path.stem: path.read_text(encoding="utf-8") for path in (root / "docs").glob("*.md")}


@pytest.fixture(scope="module")
def year(documents):
    return plain(section(documents["concepts"], "One golfer's year"))


def read(path):
    return pl.read_csv(path, infer_schema_length=None)


def answer(arguments, folder, root):
    done = forked.run(["-m", "pipeline", *arguments.split()], folder, {"PYTHONPATH": str(root), "PATH": ""})
    assert done.returncode == 0, done.stderr
    return done.stdout


def speed_in(said, label):
    """Give a speed with its interval from the answer to a goal."""
    return re.search(rf"speed, {label} +(\S+) mph .*90 % interval: (\S+) to (\S+) mph", said).groups()


def _of_window(band):
    told = window_parts(Window(*(band[edge] for edge in WINDOW_EDGES)))
    return told.launch, told.spin


# --- demo.md ----------------------------------------------------------------------------------------------------


def test_the_table_of_bands_shows_the_runs_figures(demo, documents):
    bands = read(demo.results / "benchmarks/bands.csv").filter(quarter="2026Q3")
    shown = [line for line in documents["demo"].splitlines() if re.match(r"\| \d+ mph \|", line)]
    expected = [
        f"| {r['band_mph']:.0f} mph | {r['golfers']} | {r['carry_p50_yd']:.0f} yd | {r['efficient_carry_yd']:.0f} yd "
        f"({r['efficient_lo90_yd']:.0f} to {r['efficient_hi90_yd']:.0f}) | {r['efficient_total_yd']:.0f} yd "
        f"| {' | '.join(_of_window(r))} |"
        for r in bands.to_dicts()
    ]
    assert shown == expected


def test_the_goals_take_the_speeds_that_it_says(demo, documents, root):
    said = plain(section(documents["demo"], "Beside common practice"))
    (commands,) = re.findall(r"```sh\n(.*?)```", documents["demo"], flags=re.DOTALL)
    total, poor, carry = (
        answer(line.removeprefix(".venv/bin/yardband "), demo.folder, root) for line in commands.splitlines()
    )
    speed, lo, hi = speed_in(total, "efficient")
    assert f"A drive of 280 yd takes {speed} mph (90 % interval {lo} to {hi}) in the demo" in said
    assert f"With a launch of 10 deg and 3500 rpm it takes {speed_in(poor, 'as now')[0]} mph." in said
    speed, lo, hi = speed_in(carry, "efficient")
    assert f"280 yd of carry alone takes {speed} mph ({lo} to {hi})." in said


def test_the_demo_beside_common_practice(demo, documents):
    said = plain(section(documents["demo"], "Beside common practice"))
    bands = {
        row["band_mph"]: row for row in read(demo.results / "benchmarks/bands.csv").filter(quarter="2026Q3").to_dicts()
    }
    practice = {int(mph): int(yards) for yards, mph in re.findall(r"(\d+) yd at (\d+) mph", said)}
    assert practice == {90: 250, 100: 280}
    short = sorted(round(practice[mph] - bands[mph]["efficient_total_yd"]) for mph in practice)
    assert f"efficient totals are {short[0]} to {short[1]} yd short" in said
    at_100 = bands[100]
    assert "a launch of about 14 deg with about 2000 rpm" in said
    assert round(at_100["launch_lo_deg"]) == 14
    assert f"lies {at_100['spin_lo_rpm'] - 2000:.0f} to {at_100['spin_hi_rpm'] - 2000:.0f} rpm higher in spin" in said


def test_the_demo_beside_what_was_planted(demo, documents, root):
    key = read_key(root / "data_demo/private/pseudonym.key", "twin-valleys")
    truth = read(root / "data_demo/truth.csv").cast({"golfer": pl.String})
    coded = pl.col("golfer").map_elements(lambda name: pseudonym(name, key, "golfer"), return_dtype=pl.String)
    found = read(demo.results / "golfers/golfers.csv")
    both = (
        truth.with_columns(coded).join(found, on=["golfer", "quarter"], suffix="_found").filter(pl.col("shots") >= 12)
    )
    assert both.height > 200
    planted = both.filter(
        pl.col("planted_loss_yd") >= 15, pl.col("kind").is_in(["contact", "launch", "spin", "consistency"])
    )
    right = planted.filter(pl.col("flagged") & (pl.col("main_cause") == pl.col("kind")))
    efficient = both.filter(kind="efficient")
    every = truth.with_columns(coded).join(found, on=["golfer", "quarter"], suffix="_found").drop_nulls("lost_yd")
    error = (every["lost_yd"] - every["true_lost_yd"]).std()
    inside = every.select(pl.col("true_lost_yd").is_between("lost_lo90_yd", "lost_hi90_yd").mean()).item()
    shown = re.findall(r"\| ([^|]+) \|$", section(documents["demo"], "Beside what was planted"), flags=re.MULTILINE)
    assert shown == [
        "found",
        f"{right.height} of {planted.height}",
        f"{efficient.filter('flagged').height} of {efficient.height}",
        f"{error:.0f} yd",
        f"{100 * inside:.0f} %",
    ]


def test_what_flight_adds_is_the_runs(demo, documents):
    part = section(documents["demo"], "What flight adds")
    shown = re.findall(r"^\| ([^|]+) \| (\**)(\S+) yd\**? \|", part, flags=re.MULTILINE)
    scores = read(demo.results / "model/scores.csv").to_dicts()
    assert [row["model"] for row in scores] == ["line", "flight", "quadratic", "splines"]
    assert [(figure, bool(bold)) for _, bold, figure in shown] == [(f"{r['rmse_yd']:.1f}", r["chosen"]) for r in scores]


# --- concepts.md: one golfer's year --------------------------------------------------------------------------------


def golfer_of(year):
    return re.match(r"`(g[0-9a-f]{16})`", year).group(1)


def goal_of(year):
    return re.search(r"`yardband (goal .*?)`", year).group(1)


def test_the_golfers_quarters_are_the_runs(demo, year):
    rows = read(demo.results / "golfers/golfers.csv").filter(golfer=golfer_of(year)).sort("quarter").to_dicts()
    assert len(rows) == 3
    for r in rows:
        assert (
            f"| {r['quarter']} | {r['club_speed_mph']:.1f} mph | {r['launch_deg']:.1f} deg | {r['carry_yd']:.0f} yd "
            f"| {r['efficient_yd']:.0f} yd | {r['lost_yd']:.0f} yd ({r['lost_lo90_yd']:.0f} to "
            f"{r['lost_hi90_yd']:.0f}) | {r['main_cause']} | {r['status']} |"
        ) in year


def test_the_golfers_progress_is_the_runs(demo, year):
    rows = read(demo.results / "golfers/progress.csv").filter(golfer=golfer_of(year)).sort("quarter").to_dicts()
    assert len(rows) == 2
    for r in rows:
        assert r["launch_verdict"] == r["carry_verdict"]
        assert (
            f"shows launch {r['launch_change_deg']:+.1f} deg ({r['launch_change_lo90_deg']:.1f} to "
            f"{r['launch_change_hi90_deg']:.1f}) and carry {r['carry_change_yd']:+.0f} yd "
            f"({r['carry_change_lo90_yd']:.0f} to {r['carry_change_hi90_yd']:.0f}); both verdicts are "
            f'"{r["launch_verdict"]}"'
        ) in year
    last = rows[-1]
    assert (
        f"The strike gave {last['carry_from_delivery_yd']:.0f} yd, {last['club_speed_change_mph']:.1f} mph more speed "
        f"gave {last['carry_from_speed_yd']:.0f} yd, and {last['carry_from_other_yd']:.0f} yd is other."
    ) in year
    (advice,) = read(demo.results / "golfers/delivery.csv").filter(golfer=golfer_of(year)).to_dicts()
    assert f"reads the attack as {advice['attack_deg']:.1f} deg, upward, and advises to {advice['advice']}" in year


def test_the_golfers_goals_are_the_runs(demo, year, root):
    (goal,) = read(demo.results / "golfers/goals.csv").filter(golfer=golfer_of(year)).to_dicts()
    assert (goal["goal_from"], goal["reach"], goal["quarters"]) == ("own speed", "delivery", 0)
    assert (
        f"sets {goal['goal_yd']:.0f} yd, the efficient carry at today's club speed. It is {goal['gap_yd']:.0f} yd "
        "away, all of it through the strike: no more speed is needed."
    ) in year
    (first,) = read(demo.results / "golfers/priorities.csv").filter(golfer=golfer_of(year)).to_dicts()
    word = {"delivery": "the strike"}.get(first["first"], first["first"])
    assert (
        f"puts {word} first ({100 * first['confidence']:.0f} %), because golfers here gain "
        f"{first['speed_gain_mph']:.1f} mph a quarter, worth {first['speed_yd']:.0f} yd."
    ) in year
    said = answer(goal_of(year), demo.folder, root)
    today = re.search(r"today +(\d+ yd)  +90 % interval: (\d+ to \d+) yd", said)
    assert f"{today.group(1)} ({today.group(2)}): reached" in year


def test_the_golfer_who_practices_is_the_runs(demo, year):
    golfer = re.search(r"`(g[0-9a-f]{16})` has practiced", year).group(1)
    (r,) = read(demo.results / "practice/practice.csv").filter(golfer=golfer).to_dicts()
    trend = "best_trend_{}mph_per_week"
    assert (
        f"has practiced {r['sessions_per_week']:.1f} times a week and gains {r[trend.format('')]:.2f} mph a week "
        f"({r[trend.format('lo90_')]:.2f} to {r[trend.format('hi90_')]:.2f})"
    ) in year
    assert (
        f"reaches the {r['next_band_mph']:.0f} mph band, which begins at {r['next_band_from_mph']:.0f} mph, on "
        f"{r['projected_on']} ({r['projected_lo90_on']} to {r['projected_hi90_on']})"
    ) in year


@pytest.mark.long
def test_the_first_steps_of_the_year_are_those_of_the_first_quarter(snakemake, tmp_path, root, year):
    study = tmp_path / "study"
    shutil.copytree(root / "data_demo", study, ignore=shutil.ignore_patterns("*_2026q[23].csv", "speed"))
    settings = (study / "study.yaml").read_text(encoding="utf-8")
    (study / "study.yaml").write_text(re.sub(r"speed_logs:\n  - .*\n", "", settings), encoding="utf-8")
    first = snakemake(tmp_path, study=study)
    assert first.returncode == 0, first.stderr

    def row(name):
        return read(first.results / name).filter(golfer=golfer_of(year)).row(0, named=True)

    flagged = row("golfers/flagged.csv")
    assert f"lists the golfer with {flagged['lost_yd']:.1f} yd lost, mainly through {flagged['main_cause']}." in year
    said = answer(goal_of(year), first.folder, root)

    def figure(label):
        return re.search(rf"{label} +(-?[\d.]+) \w+ +90 % interval: (-?[\d.]+ to -?[\d.]+) \w+", said).groups()

    today, gap = figure("today"), figure("gap to the goal")
    assert (
        f"Today it is {today[0]} yd ({today[1]}), which is {gap[0]} yd short. The strike alone can close the gap"
        in year
    )
    speed = f"{row('golfers/golfers.csv')['club_speed_mph']:.1f}"
    assert f"an efficient drive carries {figure('efficient today')[0]} yd at today's {speed} mph." in year
    assert f"the goal takes {figure('speed, as now')[0]} mph." in year
    r = row("golfers/delivery.csv")
    more, another = (
        f"{r[name]:.0f} yd ({r[f'{name[:-3]}_lo90_yd']:.0f} to {r[f'{name[:-3]}_hi90_yd']:.0f})"
        for name in ("gain_yd", "attack_gain_yd")
    )
    assert (
        f"reads the attack as {r['attack_deg']:.1f} deg, downward. {r['loft_change_deg']:.1f} deg more loft might "
        f"bring {more}. {r['attack_change_deg']:.0f} deg more attack, with {r['attack_loft_change_deg']:.1f} deg more "
        f"loft, might bring another {another}."
    ) in year


# --- outputs.md -----------------------------------------------------------------------------------------------------


def named_in(text):
    """Give the files and folders that the tables name; `.md` after `bands.csv` is bands.md."""
    found = []
    for cell in re.findall(r"^\| (`.*?) \|", text, flags=re.MULTILINE):
        for name in re.findall(r"`(.+?)`", cell):
            found.append(f"{found[-1].rsplit('.', 1)[0]}{name}" if name.startswith(".") else name)
    return found


def test_every_file_that_is_named_is_made_and_every_file_that_is_made_is_named(demo, documents):
    named = named_in(documents["outputs"])
    assert len(named) > 40
    missing = [name for name in named if not (demo.results / name).exists()]
    assert set(missing) <= set(ON_REQUEST)
    assert {"model/sensitivity.csv", "model/regressors.csv"} <= set(missing)
    folders = tuple(name for name in named if name.endswith("/"))
    made = [p.relative_to(demo.results).as_posix() for p in demo.results.rglob("*") if p.is_file()]
    unnamed = [one for one in made if one not in named and not one.startswith(folders)]
    assert unnamed == []
