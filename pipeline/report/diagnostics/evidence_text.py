"""What the sections of the evidence say: headings, sentences and tables."""

from collections.abc import Mapping

import numpy as np
import polars as pl

from pipeline.drives import Speed
from pipeline.fit.reading_errors import Extrapolated, ReadingErrors
from pipeline.report.diagnostics.curved import CURVED_AXIS_DEG, CURVED_OFFLINE_SHARE, Curved
from pipeline.report.diagnostics.luck import DaySpread, GolferSpread
from pipeline.report.diagnostics.mixed import GolferIntercepts, SpreadByCarry
from pipeline.report.diagnostics.slopes import ALONG, SIGNIFICANT, Slope
from pipeline.report.display import ShownTable, as_number
from pipeline.shown import number_text, percent_text, signed_text
from pipeline.statistics.arrays import Array


def p_text(p_value: float) -> str:
    """Write a p value to two digits, and what is below 0.001 as that."""
    return "p < 0.001" if p_value < 0.001 else f"p = {number_text(p_value, 3 if p_value < 0.01 else 2)}"


def joined(names: list[str], last: str = "and") -> str:
    """Join names as a sentence has them."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {last} {names[-1]}"


def counted(number: int, one: str, many: str) -> str:
    """Write a number with its noun."""
    return f"{number:,} {one if number == 1 else many}"


def golfers_heading(found: GolferSpread) -> str:
    """Say whether golfers differ."""
    if found.lo90 > 1:
        return "Golfers differ by more than luck"
    return "Golfers differ less than luck would have it" if found.hi90 < 1 else "Golfers differ no more than by luck"


def golfers_lines(found: GolferSpread) -> tuple[str, ...]:
    """Say by how much golfers' means spread, beside luck."""
    scatter = found.scatter
    days = (
        "No golfer has two days, so a golfer's day counts as the golfer here."
        if scatter.day_sd_yd is None
        else f"A golfer's days differ by {number_text(scatter.day_sd_yd, 1)} yd and the drives of a day by "
        f"{number_text(scatter.drive_sd_yd, 1)} yd (standard deviations)."
    )
    lines = [
        f"The mean residuals of {len(found.mean_yd)} golfers spread by {number_text(found.sd_yd, 2)} yd. "
        f"{'Drives' if scatter.day_sd_yd is None else 'Days and drives'} alone would make it "
        f"{number_text(found.luck_sd_yd, 2)} yd. "
        f"The variance is {number_text(found.ratio, 1)} times that of luck (90 % interval {number_text(found.lo90, 1)} "
        f"to {number_text(found.hi90, 1)}).",
        days,
    ]
    if found.lo90 > 1:
        lines.append(
            f"The rest, {number_text(found.beyond_luck_yd, 1)} yd, is what golfers do that speed, launch and spin "
            "don't show."
        )
    return tuple(lines)


def columns_heading(found: Mapping[str, Slope]) -> str:
    """Say which columns residuals go with."""
    names = [ALONG[name].name for name, one in found.items() if one.adjusted < SIGNIFICANT]
    if names:
        return f"Residuals go with {joined(names)}"
    if not found:
        return "No further column to look along"
    return f"Residuals don't go with {joined([ALONG[name].name for name in found], 'or')}"


def device_line(names: list[str]) -> str:
    """Say that devices' shares take up what goes with some columns."""
    each = joined([f"one {name}" for name in names])
    return f"Each device has {each} here, so its share of carry takes up what goes with {joined(names)}."


def show_slopes(found: Mapping[str, Slope]) -> ShownTable | None:
    """Turn slopes into text for display; None without any."""
    rows = [
        {
            "Column": f"{ALONG[name].name}, per {ALONG[name].per}",
            "Drives": f"{one.drives:,}",
            "Golfers": f"{one.golfers:,}",
            "Slope of the residual, yd": signed_text(one.slope, 2),
            "its 90 % interval, yd": f"{number_text(one.lo90, 2)} to {number_text(one.hi90, 2)}",
            "p": p_text(one.p_value).removeprefix("p = ").removeprefix("p "),
            "p for all columns (Holm)": p_text(one.adjusted).removeprefix("p = ").removeprefix("p "),
        }
        for name, one in found.items()
    ]
    return ShownTable(pl.DataFrame(rows), ("Column",)) if rows else None


def days_heading(found: DaySpread | None) -> str:
    """Say whether days differ."""
    if found is None:
        return "Too few golfers share days to compare them"
    return "Days differ by more than luck" if found.p_value < SIGNIFICANT else "Days differ no more than by luck"


def days_lines(found: DaySpread | None, least: int) -> tuple[str, ...]:
    """Say how days scatter beside shuffled ones."""
    if found is None:
        return (f"No two days have {least} golfers who came on another day too.",)
    return (
        f"{found.days} days have {least} golfers or more who came on another day too. The variance of their mean "
        f"residuals, after each golfer's own mean, is {number_text(found.ratio, 2)} times that of days shuffled within "
        f"golfers. Shuffled days give {number_text(found.luck_lo90, 2)} to {number_text(found.luck_hi90, 2)} "
        f"(90 %); {p_text(found.p_value)}.",
    )


def spread_heading(found: SpreadByCarry) -> str:
    """Say whether drives spread more where they carry farther."""
    if found.p_value >= SIGNIFICANT:
        return "Drives spread alike at short and long carry"
    return f"Drives spread {'more' if found.slope > 0 else 'less'} at longer carry"


def spread_lines(found: SpreadByCarry) -> tuple[str, ...]:
    """Say within how many yards drives lie at a slow and a fast speed."""
    slow, fast = (
        f"{number_text(speed)} mph (usual carry {number_text(carry)} yd) 8 drives in 10 lie within "
        f"{number_text(spread, 1)} yd, {number_text(100 * spread / carry, 1)} % of it"
        for speed, carry, spread in zip(found.club_speed_mph, found.carry_yd, found.spread_yd, strict=True)
    )
    return (
        f"At {slow}. At {fast}. These are quantile regressions (0.1 and 0.9) of measured on expected carry and club "
        f"speed. For the size of residuals along expected carry, {p_text(found.p_value)}.",
        "The interval of a drive is a share of carry. It fits all speeds if that share is the same at both.",
    )


def readings_lines(errors: ReadingErrors, speed: Speed) -> tuple[str, ...]:
    """Say what errors are assumed and how they are taken out."""
    return (
        f"A reading is assumed to be off by {number_text(100 * errors.speed_share, 1)} % of {speed} speed, "
        f"{number_text(errors.launch_deg, 1)} deg of launch and {number_text(100 * errors.spin_share)} % of spin "
        "(standard deviations; common practice, no source). SIMEX adds such errors, refits, and goes back to none "
        "(Cook and Stefanski 1994).",
        "Deliveries stay where they are. Errors that a device makes in all drives are in flight/devices.csv.",
    )


def readings_heading(found: Extrapolated, half_width_yd: Array) -> str:
    """Say by how much errors of readings move efficient carry."""
    most = number_text(float(np.max(np.abs(found.move_yd))), 1)
    beyond = np.abs(found.move_yd) > half_width_yd
    where = ", more than its interval allows" if beyond.any() else ""
    return f"Errors of readings move efficient carry by {most} yd at most{where}"


def show_readings(centres: Array, found: Mapping[str, Extrapolated], half_width_yd: Array) -> ShownTable:
    """Turn what errors of readings move into text for display."""
    best, usual = found["efficient"], found["usual"]
    return ShownTable(
        pl.DataFrame(
            {
                "Band center, mph": pl.Series([f"{centre:g}" for centre in centres]),
                "Efficient carry, yd": as_number(pl.Series(best.carry_yd[0]), 1),
                "without errors of readings, yd": as_number(pl.Series(best.without_yd), 1),
                "Move, yd": _signed(best.move_yd),
                "Luck of the added errors, yd": as_number(pl.Series(best.luck_yd), 2),
                "Half of the 90 % interval, yd": as_number(pl.Series(half_width_yd), 1),
                "Usual drive, yd": as_number(pl.Series(usual.carry_yd[0]), 1),
                "its move, yd": _signed(usual.move_yd),
            }
        )
    )


def _signed(values: Array) -> pl.Series:
    return pl.Series([signed_text(value, 2) for value in values], dtype=pl.String)


def mixed_heading(found: GolferIntercepts) -> str:
    """Say how much of what the model leaves is between golfers."""
    return f"{percent_text(found.share)} of the variance that the model leaves is between golfers"


def mixed_lines(found: GolferIntercepts) -> tuple[str, ...]:
    """Say how golfers and drives spread, and whether the fixed terms move."""
    moved = "none moves" if found.moved == 0 else f"{found.moved} {'moves' if found.moved == 1 else 'move'}"
    lines = [
        f"A mixed model of the same form with an intercept for each of {found.golfers} golfers "
        f"({found.drives:,} drives, restricted maximum likelihood): golfers differ by "
        f"{number_text(found.golfer_sd_yd, 2)} yd, drives of a golfer by {number_text(found.drive_sd_yd, 2)} yd "
        "(standard deviations).",
        f"Of {found.terms} fixed terms {moved} by more than the 90 % interval of the fit without intercepts.",
    ]
    if len(found.move_yd):
        most = number_text(float(np.max(np.abs(found.move_yd))), 1)
        lines.append(f"Efficient carry moves by {most} yd at most, delivery and strike kept.")
    return tuple(lines)


def curved_heading(found: Curved | None) -> str:
    """Say what curved drives cost."""
    if found is None:
        return "Curved drives can't be counted"
    if found.cost_yd is None or found.lo90 is None or found.hi90 is None:
        return "Too few golfers curve drives to say what it costs"
    if found.hi90 < 0:
        return f"Curved drives carry {number_text(-found.cost_yd, 1)} yd less than expected"
    return "Curved drives carry as far as expected" if found.lo90 <= 0 else "Curved drives carry farther than expected"


def curved_lines(found: Curved | None) -> tuple[str, ...]:
    """Say how many drives are curved and what they cost, by residuals and by flight."""
    if found is None:
        return ("The logs have neither spin axis (spin_axis_deg) nor offline (offline_yd).",)
    by_axis = found.by == "spin_axis_deg"
    limit = (
        f"a spin axis tilted by more than {CURVED_AXIS_DEG:g} deg"
        if by_axis
        else f"landed off the line by more than {percent_text(CURVED_OFFLINE_SHARE)} of carry"
    )
    share = found.curved / found.known
    lines = [
        f"{found.curved:,} of {found.known:,} drives ({number_text(100 * share, 1)} %), by "
        f"{counted(found.golfers, 'golfer', 'golfers')}, {'have' if by_axis else 'are'} {limit} "
        "(a limit of common practice, no source)."
    ]
    if not by_axis:
        lines.append("The logs lack the spin axis, so drives that start off the line count as curved too.")
    if found.cost_yd is not None and found.lo90 is not None and found.hi90 is not None:
        flown = (
            "" if found.flown_yd is None else f" Flight gives {signed_text(found.flown_yd, 1)} yd for the same tilts."
        )
        lines.append(
            f"Their mean residual less that of straight drives is {signed_text(found.cost_yd, 1)} yd (90 % interval "
            f"{number_text(found.lo90, 1)} to {number_text(found.hi90, 1)}, clustered by golfer).{flown}"
        )
    return tuple(lines)
