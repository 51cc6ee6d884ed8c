"""Gather the worlds' judgements into tables, one figure and a README."""

from pathlib import Path

import matplotlib as mpl
import matplotlib.pyplot as plt
import polars as pl
import seaborn as sns
from coach import coach_table
from measures import Judged, device_leak, figures, measures
from targets import README, rows_of_targets, table_of

# Worlds that lack what a figure rests on: they are shown, and left out of the sums that the targets are held against.
APART = {"no-ball-speed": "contact can't be separated, and strike not foreseen, without ball speed"}

WORLD_COLUMNS = (
    "held_out_rmse_ratio", "efficient_bias_yd", "efficient_coverage90", "lost_bias_yd", "lost_coverage90",
    "window_true_share", "window_size_share", "cause_right", "false_flags", "power", "null_change_coverage90",
)  # fmt: skip


def of(judged: Judged, keep: pl.Expr) -> Judged:
    """Keep some of the worlds."""
    return {name: frame.filter(keep) for name, frame in judged.items()}


def by_world(judged: Judged) -> pl.DataFrame:
    """Measure every world by itself."""
    worlds = judged["held_out"].get_column("world").unique(maintain_order=True).to_list()
    rows = [{"world": world, **measures(of(judged, pl.col("world") == world))} for world in worlds]
    return pl.DataFrame(rows, infer_schema_length=None)


def draw(table: pl.DataFrame, path: Path) -> None:
    """Draw bias and coverage of efficient carry and yards lost by world."""
    mpl.rcParams["svg.hashsalt"] = "yardband"
    sns.set_theme(style="whitegrid", font_scale=0.9)
    shown = {"efficient": "efficient carry", "lost": "yards lost"}
    figure, axes = plt.subplots(1, 2, figsize=(10, 5.5), sharey=True)
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
    axes[1].axvspan(0.87, 0.93, color="0.92", zorder=0)
    axes[0].legend(title="", loc="best")
    figure.text(0.5, 0.005, "Gray: the targets.", ha="center", fontsize="small")
    figure.tight_layout(rect=(0, 0.02, 1, 1))
    figure.savefig(path, dpi=130, metadata={"Software": None})
    plt.close(figure)


def write(judged: Judged, target: Path) -> None:
    """Write targets.csv, figures.csv, worlds.csv, devices.csv, coach.csv, proving_ground.png and README.md."""
    kept = of(judged, ~pl.col("world").is_in(list(APART)))
    overall, table, worlds, devices = measures(kept), figures(kept), by_world(judged), device_leak(judged)
    bands = table.filter(pl.col("figure").str.contains("mph"))
    told = rows_of_targets(overall, bands, devices)
    academies = judged["held_out"].group_by("world", maintain_order=True).len()
    target.mkdir(parents=True, exist_ok=True)
    told.write_csv(target / "targets.csv")
    table.write_csv(target / "figures.csv")
    worlds.write_csv(target / "worlds.csv")
    devices.write_csv(target / "devices.csv")
    coach = coach_table(kept)
    coach.write_csv(target / "coach.csv")
    draw(worlds, target / "proving_ground.png")
    text = README.format(
        academies=academies["len"].sum(),
        worlds=academies.height,
        golfers=f"{judged['golfers'].height:,}",
        bands=judged["bands"].height,
        targets=table_of(told),
        figures=table_of(table),
        by_world=table_of(worlds.select("world", *WORLD_COLUMNS)),
        devices=table_of(devices),
        coach=table_of(coach),
        apart="; ".join(f"`{world}` ({why})" for world, why in APART.items()),
    )
    (target / "README.md").write_text(text, encoding="utf-8", newline="\n")
