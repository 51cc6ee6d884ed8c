"""Gather the worlds' judgements into tables, one figure and a README."""

from pathlib import Path

import matplotlib as mpl
import matplotlib.pyplot as plt
import polars as pl
import seaborn as sns
import truth
from coach import FRAMES, coach_table
from measures import Judged, device_leak, figures, measures
from straight import FRAME, straight_by_world, straight_words
from targets import by_world, overall, worst_worlds
from words import COACH, README, table_of, world_by_world

# Worlds that lack what a figure rests on: they are shown, and left out of what is said of all worlds together.
APART = {"no-ball-speed": "contact can't be separated, and strike not foreseen, without ball speed"}

WORLD_COLUMNS = ("efficient_bias_yd", "efficient_coverage90", "lost_bias_yd", "lost_coverage90", "assessed")


def of(judged: Judged, keep: pl.Expr) -> Judged:
    """Keep some of the worlds."""
    return {name: frame.filter(keep) for name, frame in judged.items()}


def drawn_by_world(judged: Judged) -> pl.DataFrame:
    """Give what the figure shows of every world, and the share of golfers who were assessed."""
    worlds = judged["held_out"].get_column("world").unique(maintain_order=True).to_list()
    rows = []
    for world in worlds:
        found = measures(of(judged, pl.col("world") == world))
        rows.append({"world": world, **{name: found[name].value for name in WORLD_COLUMNS}})
    return pl.DataFrame(rows, infer_schema_length=None)


def draw(table: pl.DataFrame, path: Path) -> None:
    """Draw bias and coverage of efficient carry and yards lost by world."""
    mpl.rcParams["svg.hashsalt"] = "yardband"
    sns.set_theme(style="whitegrid", font_scale=0.9)
    shown = {"efficient": "efficient carry", "lost": "yards lost"}
    figure, axes = plt.subplots(1, 2, figsize=(10, 0.9 + 0.27 * table.height), sharey=True)
    for axis, end, label in (
        (axes[0], "bias_yd", "bias, yd"),
        (axes[1], "coverage90", "share of 90 % intervals that hold the truth"),
    ):
        long = pl.concat(
            table.select("world", pl.col(f"{name}_{end}").alias("value"), pl.lit(words).alias("figure"))
            for name, words in shown.items()
        )
        sns.scatterplot(
            long.to_pandas(), x="value", y="world", hue="figure", style="figure", palette="colorblind", s=60, ax=axis,
            legend=end == "bias_yd",
        )  # fmt: skip
        axis.set(xlabel=label, ylabel="")
    axes[0].axvspan(-1.5, 1.5, color="0.92", zorder=0)
    axes[1].axvspan(0.85, 0.95, color="0.92", zorder=0)
    axes[0].legend(title="", loc="best")
    figure.text(0.5, 0.005, "Gray: the targets.", ha="center", fontsize="small")
    figure.tight_layout(rect=(0, 0.02, 1, 1))
    figure.savefig(path, dpi=130, metadata={"Software": None})
    plt.close(figure)


def write(judged: Judged, target: Path) -> None:
    """Write targets.csv, by_world.csv, figures.csv, worlds.csv, devices.csv, proving_ground.png and README.md.

    Where the coach's further academies were judged too, also coach.csv; where drives bend, straightness.csv.
    """
    kept = of(judged, ~pl.col("world").is_in(list(APART)))
    if kept["held_out"].is_empty():
        kept = judged
    told, listed, table = overall(kept), by_world(judged), figures(kept)
    worlds, devices = drawn_by_world(judged), device_leak(judged)
    target.mkdir(parents=True, exist_ok=True)
    made = {"targets": told, "by_world": listed, "figures": table, "worlds": worlds, "devices": devices}
    coach = ""
    if set(FRAMES) <= set(judged):
        made["coach"] = coach_table(kept)
        coach = COACH.format(coach=table_of(made["coach"]))
    straight = ""
    if FRAME in judged:
        made[FRAME] = straight_by_world(judged)
        straight = "\n\n" + straight_words(made[FRAME])
    for name, frame in made.items():
        frame.write_csv(target / f"{name}.csv")
    draw(worlds, target / "proving_ground.png")
    text = README.format(
        academies=judged["held_out"].height,
        worlds=worlds.height,
        golfers=f"{judged['golfers'].height:,}",
        population=truth.GOLFERS,
        worst=table_of(worst_worlds(listed)),
        world_by_world=world_by_world(listed),
        targets=table_of(told),
        figures=table_of(table),
        devices=table_of(devices),
        coach=coach,
        apart="; ".join(f"`{world}` ({why})" for world, why in APART.items()),
    )
    (target / "README.md").write_text(text.rstrip() + straight + "\n", encoding="utf-8", newline="\n")
