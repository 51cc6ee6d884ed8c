"""The targets of the proving ground, held against its measures, and the text around them."""

from dataclasses import dataclass

import polars as pl


@dataclass(frozen=True)
class Target:
    """One line: a measure has to lie from `lo` to `hi`."""

    what: str
    measure: str
    lo: float | None
    hi: float | None
    digits: int = 2


TARGETS = (
    Target("expected carry, golfers held out: rms error over the oracle's", "held_out_rmse_ratio", None, 1.1),
    Target("the same over true flight's of the same readings", "held_out_readings_ratio", None, 1.1),
    Target("the same over the least that the readings' errors allow", "held_out_least_ratio", None, 1.1),
    Target("efficient carry: bias, yd", "efficient_bias_yd", -1.5, 1.5),
    Target("efficient carry: 90 % intervals that hold the truth", "efficient_coverage90", 0.87, 0.93, 3),
    Target("yards lost: bias, yd", "lost_bias_yd", -1.5, 1.5),
    Target("yards lost: 90 % intervals that hold the truth", "lost_coverage90", 0.87, 0.93, 3),
    Target("window: share of its area truly within the tolerance", "window_true_share", 0.95, None, 3),
    Target("window: area over that of the largest true box", "window_size_share", 0.5, None),
    Target("contact: bias, yd", "contact_bias_yd", -1.5, 1.5),
    Target("launch: bias, yd", "launch_bias_yd", -1.5, 1.5),
    Target("spin: bias, yd", "spin_bias_yd", -1.5, 1.5),
    Target("consistency: bias, yd", "consistency_bias_yd", -1.5, 1.5),
    Target("other: bias, yd", "other_bias_yd", -1.5, 1.5),
    Target("main cause right, golfers who lose 15 yd or more", "cause_right", 0.9, None, 3),
    Target("flagged though 10 yd or less are lost", "false_flags", None, 0.10, 3),
    Target("flagged of those who lose 15 yd or more, 20 drives or more", "power", 0.85, None, 3),
    Target("under 12 drives: ranked yards' 90 % intervals that hold the truth", "few_shots_coverage90", 0.87, 0.93, 3),
    Target("under 12 drives: share flagged", "few_shots_flagged", None, 0.0, 3),
    Target("nothing changed: 90 % intervals of the change that hold nil", "null_change_coverage90", 0.87, 0.93, 3),
    Target("nothing changed: share told as more than chance", "null_change_found", None, 0.10, 3),
    Target("of all changes told as more than chance: share where nothing changed", "false_changes", None, 0.10, 3),
)  # fmt: skip


def verdict(value: float | None, target: Target) -> str:
    """Say whether a measure lies where it has to; a miss with its size."""
    if value is None:
        return "not measured"
    if target.lo is not None and value < target.lo:
        return f"**missed** by {target.lo - value:.{target.digits}f}"
    if target.hi is not None and value > target.hi:
        return f"**missed** by {value - target.hi:.{target.digits}f}"
    return "met"


def rows_of_targets(overall: dict[str, float | None], bands: pl.DataFrame, devices: pl.DataFrame) -> pl.DataFrame:
    """List each target with what was measured and the verdict; the bands' and devices' worst among them.

    Parameters
    ----------
    overall : dict
        From `measures`.
    bands : DataFrame
        The rows of `figures` for single bands.
    devices : DataFrame
        From `device_leak`.

    Returns
    -------
    DataFrame
        what, target, measured, verdict.
    """
    biases = {
        f"{figure}, worst band: bias, yd": bands.filter(pl.col("figure").str.starts_with(figure))["bias_yd"].to_list()
        for figure in ("efficient carry", "yards lost")
    }
    biases["a device's bias in carry: shown as contact, launch or spin, yd"] = devices["difference_yd"].to_list()
    found = [(target, overall[target.measure]) for target in TARGETS]
    found += [(Target(what, "", -1.5, 1.5), max(values, key=abs)) for what, values in biases.items()]
    return pl.DataFrame(
        [
            {
                "what": target.what,
                "target": range_of(target),
                "measured": None if value is None else round(value, target.digits),
                "verdict": verdict(value, target),
            }
            for target, value in found
        ],
        infer_schema_length=None,
    )


def range_of(target: Target) -> str:
    """Say where a target's measure has to lie."""
    if target.lo is None:
        return f"at most {target.hi:g}"
    return f"at least {target.lo:g}" if target.hi is None else f"{target.lo:g} to {target.hi:g}"


def table_of(frame: pl.DataFrame) -> str:
    """Write a frame as a Markdown table, figures to three digits after the point."""
    lines = ["| " + " | ".join(frame.columns) + " |", "|" + "---|" * frame.width]
    for row in frame.iter_rows():
        cells = (
            f"{c:.3f}".rstrip("0").rstrip(".") if isinstance(c, float) else "" if c is None else str(c) for c in row
        )
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines)


README = """# The proving ground
Made by `snakemake --cores 2 --force proving_ground`: {academies} invented academies in {worlds} worlds,
{golfers} golfers and quarters, each run through the pipeline's own steps from the logs on, each figure held
against a truth that the pipeline doesn't know. The simulator (`tests/proving_ground`) flies balls of its own,
none of them one of the pipeline's coefficient sets. `tests/proving_ground/worlds.py` says what differs between
the worlds.

Beside each figure stands the oracle's: the same figure by the same definitions from the true flight and the
true deliveries of the very golfers and drives. Its error is luck of the draw, which no method can beat.

## Targets
Over all worlds but {apart}.

{targets}

Scatter that no reading explains is 1.8 % of carry in all worlds but `calm-air`, where it is 1 %: there the
readings' own errors weigh more against the oracle, who sees the true drive.

## Figures
Bias is estimate minus truth; its standard error takes the golfers of an academy together. Bands of 12 golfers or more.

{figures}

## Worlds
{by_world}

![Bias and coverage by world](proving_ground.png)

## Where two devices disagree by 4 % of carry
Mean error of a part on one device minus that on the other.

{devices}

## Goals, progress, deliveries, practice
What the coach gets, on the same academies and on a few more of other kinds (`tests/proving_ground/coach.py`): golfers
who are watched on a few days with a form of their own, who change, who all gain speed, whose attack is read poorly or
who change lofts. Speed practice has academies of its own. The standard error is that of the measured value over
academies, by leaving out one at a time; a miss within twice of it may be luck.

{coach}
"""
