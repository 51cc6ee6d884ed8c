"""A lookup's answer as a coach reads it on a screen: the answer first, launch and spin to aim at right under it."""

from collections.abc import Callable, Mapping
from typing import Any

from pipeline.benchmark.reaching import reaching_text
from pipeline.benchmark.window import Window
from pipeline.shown import Units, angle_text, number_text, spin_text, typed_text, window_text
from pipeline.texts.catalogue import texts, told

# From so much more total on, a delivery that gives up carry for it is worth a sentence: less wouldn't show in yards.
TOLD_FROM_YD = 1.0

_LABEL, _COLUMN = 17, 12  # characters


def lookup_text(study: str, answer: dict[str, Any], asked: list[str], units: Units, *, left_out: bool) -> str:
    """Write an answer that has figures as a small table.

    Parameters
    ----------
    study : str
    answer : dict
        From `look_up`.
    asked : list of str
        What was asked, from `asked_texts`.
    units : Units
    left_out : bool
        Whether a part of the drive was left out, and is set to what is typical.
    """
    say = texts("command")
    rows = [
        _row("", [say["expected"], say["efficient"], say["available"]]),
        _row(say["carry"], _pair(answer, "carry", units)),
        f"  {say['aim_at']:<{_LABEL}}{_aim(answer)}",
        _row(say["total"], _pair(answer, "total", units)),
        f"  {say['nine_in_ten']:<{_LABEL}}{_range(answer, 'expected', units)}",
        f"  {say['sure']:<{_LABEL}}{_range(answer, 'efficient', units)}",
    ]
    # What the other notes say stands in the table.
    notes = [told("notes", key) for key in ("ball_unused", "no_window")]
    lines = [*([told("notes", "typical")] if left_out else []), *(note for note in notes if note in answer["note"])]
    lines += _best_total_lines(answer, units)
    return "\n".join([f"{study}: {', '.join(asked)}", *rows, *(f"  {line}" for line in lines)])


def _best_total_lines(answer: dict[str, Any], units: Units) -> list[str]:
    """Say which delivery goes farther with roll than the efficient one, and for how much carry; often none does."""
    if answer["best_total_gain_yd"] < TOLD_FROM_YD:
        return []
    cost = answer["best_total_carry_cost_yd"]
    key = "best_total" if units.distance_whole(cost) else "best_total_free"
    words = {
        "launch": angle_text(answer["best_total_launch_deg"]),
        "spin": spin_text(answer["best_total_spin_rpm"]),
        "gain": units.distance_text(answer["best_total_gain_yd"]),
        "cost": units.distance_text(cost),
    }
    return [told("command", key, **words)]


def reaching_lines(answer: dict[str, Any], distance_yd: float, units: Units, *, carry: bool) -> list[str]:
    """Write the share of drives that reach a distance, and whose drives they are."""
    say = texts("command")
    if answer["share_reaching"] is None:
        return [f"  {told('notes', 'share_unknown')}"]
    label = told("command", "reach", value=units.typed_distance_text(distance_yd))
    row = f"  {label:<{_LABEL}}{reaching_text(answer)}"
    return [row, f"  {told('notes', 'share_usual', what=say['carry' if carry else 'total'])}"]


def asked_texts(asked: Mapping[str, float | None], turf: str | None, units: Units) -> list[str]:
    """Write what was asked, as typed.

    Parameters
    ----------
    asked : mapping of str to float or None
        club_speed and ball_speed, mph; launch, deg; spin, rpm; altitude, m; pressure, hPa; temperature, deg C; wind,
        mph. None and what isn't there is left out.
    turf : str or None
    units : Units
    """
    unit = texts("units")
    texts_of: dict[str, Callable[[float], str]] = {
        "club_speed": units.typed_speed_text,
        "ball_speed": units.typed_speed_text,
        "launch": lambda value: f"{typed_text(value)} {unit['deg']}",
        "spin": lambda value: f"{typed_text(value)} {unit['rpm']}",
        "altitude": lambda value: f"{typed_text(value)} {unit['m']}",
        "pressure": lambda value: f"{typed_text(value)} {unit['hPa']}",
        "temperature": lambda value: f"{typed_text(value)} {unit['degC']}",
        "wind": lambda value: units.typed_speed_text(abs(value)),
    }
    given = {name: value for name, value in asked.items() if value is not None}
    said = []
    for name, value in given.items():
        key = name if name != "wind" else "no_wind" if value == 0 else "tail_wind" if value > 0 else "head_wind"
        said.append(told("command", key, value=texts_of[name](value)))
    return said + ([texts("turf")[turf]] if turf else [])


def _row(label: str, cells: list[str]) -> str:
    return f"  {label:<{_LABEL}}" + "".join(f"{cell:>{_COLUMN}}" for cell in cells)


def _pair(answer: dict[str, Any], kind: str, units: Units) -> list[str]:
    """Give expected, efficient, and their difference as shown."""
    expected, efficient = answer[f"expected_{kind}_yd"], answer[f"efficient_{kind}_yd"]
    more = number_text(units.difference_whole(efficient, expected))
    return [units.distance_text(expected), units.distance_text(efficient), f"{more} {units.distance_unit}"]


def _aim(answer: dict[str, Any]) -> str:
    """Give the window; without one the best delivery."""
    launch, spin = answer["launch_window_deg"], answer["spin_window_rpm"]
    if launch is not None and spin is not None:
        return window_text(Window(*launch, *spin))
    best = angle_text(answer["efficient_launch_deg"]), spin_text(answer["efficient_spin_rpm"])
    return told("command", "best_point", launch=best[0], spin=best[1])


def _range(answer: dict[str, Any], name: str, units: Units) -> str:
    carry, total = (
        units.distance_range_text(answer[f"{name}_{part}lo90_yd"], answer[f"{name}_{part}hi90_yd"])
        for part in ("", "total_")
    )
    return told("command", f"{name}_range", range=carry, total=total)
