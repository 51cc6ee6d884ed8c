"""What the README of the flight study says: its tables beside the targets, a miss told as a miss."""

import polars as pl

TABLE_TARGET_YD = 0.02
SOLVER_TARGET_YD = 0.02
RATE_TARGET_PER_S = 1e6
RATIO_TARGET = 300.0


def verdict(value: float, target: float, at_most: bool) -> str:
    """Say whether a figure meets its target."""
    return "met" if (value <= target if at_most else value >= target) else "**missed**"


def worst_yd(accuracy: pl.DataFrame, comparison: str) -> float:
    """Give the worst difference of a comparison over all sets, yd."""
    return float(accuracy.filter(pl.col("comparison") == comparison)["worst_yd"].to_numpy().max())


def least(speed: pl.DataFrame, quantity: str) -> float:
    """Give the least figure of a quantity over all sets."""
    return float(speed.filter(pl.col("quantity") == quantity)["figure"].to_numpy().min())


def targets(accuracy: pl.DataFrame, speed: pl.DataFrame) -> list[tuple[str, str, str, str]]:
    """List each target with what was measured, over all coefficient sets, and the verdict.

    Parameters
    ----------
    accuracy, speed : DataFrame
        As `flight_study.accuracy` and `flight_study.speed` give them.

    Returns
    -------
    list of tuple of str
        What, target, measured, verdict.
    """
    rows = []
    for comparison, what, target in (
        ("table_calm", "table against direct integration, calm, worst", TABLE_TARGET_YD),
        ("table_wind", "the same in winds of -8 to 8 m/s, worst", TABLE_TARGET_YD),
        ("solver", "direct integration against `solve_ivp` at tight tolerance, worst", SOLVER_TARGET_YD),
    ):
        value = worst_yd(accuracy, comparison)
        rows.append((what, f"{target:g} yd", f"{value:.5f} yd", verdict(value, target, at_most=True)))
    for quantity, what in (
        ("table_carry_calm", "carry looked up, calm"),
        ("table_landing_state_calm", "whole landing state looked up, calm"),
        ("table_carry_in_wind", "carry in wind, domain checked"),
        ("table_landing_state_in_wind", "whole landing state in wind, domain checked"),
    ):
        value = least(speed, quantity)
        verdict_ = verdict(value, RATE_TARGET_PER_S, at_most=False)
        rows.append((what, f"{RATE_TARGET_PER_S:,.0f} shots/s", f"{value:,.0f} shots/s", verdict_))
    for quantity, what in (
        (
            "array_solver_loop_over_direct",
            "a loop over `solve_ivp` around the same force code, over direct integration",
        ),
        (
            "solver_loop_over_direct",
            "a loop over `solve_ivp` in the tightest scalar arithmetic, over direct integration",
        ),
    ):
        ratio = least(speed, quantity)
        rows.append(
            (what, f"{RATIO_TARGET:g} times", f"{ratio:.0f} times", verdict(ratio, RATIO_TARGET, at_most=False))
        )
    return rows


def table_of(frame: pl.DataFrame) -> str:
    """Write a frame as a Markdown table, figures to four digits."""
    lines = ["| " + " | ".join(frame.columns) + " |", "|" + "---|" * frame.width]
    for row in frame.iter_rows():
        cells = (f"{cell:,.0f}" if isinstance(cell, float) and cell >= 1e4 else cell for cell in row)
        lines.append("| " + " | ".join(f"{c:.4g}" if isinstance(c, float) else str(c) for c in cells) + " |")
    return "\n".join(lines)


def report(accuracy: pl.DataFrame, speed: pl.DataFrame, machine: dict[str, str], step_s: float) -> str:
    """Write the README of the study.

    Parameters
    ----------
    accuracy, speed : DataFrame
        As `flight_study.accuracy` and `flight_study.speed` give them.
    machine : dict of str
        What is known of the machine, by name.
    step_s : float
        Step of direct integration, s.

    Returns
    -------
    str
        Markdown.
    """
    wide = speed.pivot(on="coefficients", index=["quantity", "unit"], values="figure")
    lines = [f"| {' | '.join(row)} |" for row in targets(accuracy, speed)]
    return f"""# How accurate and how fast the flight code is
Made by `snakemake --cores 1 --force flight_study`, which takes a few minutes; every figure below is of that run. On
another machine the speeds differ, the differences of carry hardly.

Machine: {", ".join(f"{name} {value}" for name, value in machine.items())}.
One process on one core: those two variables hold numpy's libraries to one thread. The machine may have been busy with
other work: times are medians of 5 repeats, taken in turns.

## Targets
The worst figure of all coefficient sets.

| what | target | measured | |
|---|---|---|---|
{chr(10).join(lines)}

## Accuracy
`accuracy.csv`: absolute differences of carry, yd. Shots are drawn evenly over the table's whole domain (speed, launch,
root of spin). `table_calm`: table against direct integration. `table_wind`: the same with a wind of -8 to 8 m/s along
the line; only the shots that the table answers itself are counted, since the others are flown. `solver`: direct
integration at a step of {step_s:g} s against `solve_ivp` (DOP853, tolerances 1e-10) in three dimensions with side,
tilted axis and wind from any side. `step`: the same launches at {step_s:g} s against 0.001 s.

{table_of(accuracy)}

## Speed
`speed.csv`. The loop calls scipy's `solve_ivp` (RK45) shot after shot, in the plane, in calm air, with the rates of
change in plain scalar arithmetic and an event that ends the flight on the ground: no slower a loop than it
need be. Its tolerance (relative, and absolute in m, m/s, rad/s) is the one, of eight to a factor of ten, whose worst
error over the launches comes nearest to that of direct integration. Both errors stand below, against DOP853 at 1e-10.
The array loop is the same around the package's own numpy code, ball by ball: like for like. The target is held
against both. Direct integration flies the same launches, repeated to one call of 50,000. A ratio is the
median of the five ratios.

{table_of(wide)}
"""
