"""The coach's page: the document around the data that its scripts work on."""

import base64
import hashlib
from typing import Any, Literal, TypeAlias, get_args

from markupsafe import Markup

from pipeline.fit.model import FittedOn
from pipeline.fit.usual_delivery import UsualDelivery
from pipeline.flight.offsets import UNSTATED
from pipeline.report.lookup.lookup_data import MODEL_SCRIPTS
from pipeline.report.palette import palette_css
from pipeline.report.shared.scripts import SHARED_SCRIPTS
from pipeline.report.templating import templates_of
from pipeline.shown import IMPERIAL, METRIC, Units
from pipeline.texts.better import better_golfers
from pipeline.texts.catalogue import texts

# The page is kept as it came, so the script that keeps it comes before those that change it.
KEEPING_SCRIPT = "lookup_install.js"
# The page's own scripts, in the order in which each may use those before it; the model's come before them.
PAGE_SCRIPTS = (
    "lookup_fields.js",
    SHARED_SCRIPTS[-1],  # students
    "lookup_kept.js",
    "lookup_say.js",
    "lookup_picture.js",
    "lookup_answers.js",
    "lookup_roster.js",
    "lookup_page.js",
)

Distance: TypeAlias = Literal["yards", "metres"]
Speed: TypeAlias = Literal["mph", "km/h", "m/s"]


def build_lookup_page(
    data: dict[str, Any],
    *,
    study: str,
    fitted_on: FittedOn,
    conditions: str,
    window_tolerance_yd: float,
    units: Distance = "yards",
    strike: float = UsualDelivery.strike,
) -> str:
    """Build the coach's page.

    Parameters
    ----------
    data : dict
        From `lookup_data`.
    study : str
        Its name.
    fitted_on : FittedOn
    conditions : str
        From `conditions_text`.
    window_tolerance_yd : float
    units : str
        yards or metres: what the page shows first.
    strike : float
        See `Frontier`.

    Returns
    -------
    str
        A whole HTML document that needs no other file and that may not reach for any.
    """
    environment = templates_of("lookup")
    environment.policies["json.dumps_kwargs"] = {"sort_keys": True, "allow_nan": False, "separators": (",", ":")}
    style = palette_css() + environment.get_template("lookup.css").render()
    script = "\n".join(
        environment.get_template(name).render() for name in (KEEPING_SCRIPT, *MODEL_SCRIPTS, *PAGE_SCRIPTS)
    )
    start = METRIC if units == "metres" else IMPERIAL
    policy = {
        "default-src": "'none'",
        "script-src": _digest(script),
        "style-src": _digest(style),
        # For the installed page: its manifest's icons, too, are fetched under this policy. A file asks for none.
        "img-src": "'self'",
        "manifest-src": "'self'",
        "worker-src": "'self'",
        "base-uri": "'none'",
        "form-action": "'none'",
    }
    quarters = fitted_on.quarters
    # Markup is right here: style and script are the package's own files.
    return environment.get_template("lookup.html.j2").render(
        data=data,
        settings={
            "study": study,
            "tolerance_yd": window_tolerance_yd,
            "units": _units_of_the_page(),
            "start": {"distance": start.distance, "speed": start.speed},
        },
        t=texts("page"),
        units=texts("units"),
        start_units=start,
        study=study,
        style=Markup(style),
        script=Markup(script),
        policy="; ".join(f"{name} {allowed}" for name, allowed in policy.items()),
        fitted=fitted_on,
        quarters=quarters[0] if len(quarters) == 1 else f"{quarters[0]} to {quarters[-1]}",
        conditions=conditions,
        better=better_golfers(strike),
    )


def _units_of_the_page() -> dict[str, dict[str, dict[str, Any]]]:
    """Give the units between which a person can switch: text, yd or mph in one of them, and decimals shown."""
    distances = {name: Units(distance=name) for name in get_args(Distance)}
    speeds = {name: Units(speed=name) for name in get_args(Speed)}
    return {
        "distance": {name: {"text": one.distance_unit, "each": one.yd_each} for name, one in distances.items()},
        "speed": {
            name: {"text": one.speed_unit, "each": one.mph_each, "decimals": one.speed_decimals}
            for name, one in speeds.items()
        },
    }


def conditions_text(air: dict[str, float], turf: str, reference: dict[str, str]) -> str:
    """Say in plain words what conditions the page's figures are for.

    Parameters
    ----------
    air : dict
        temp_c, pressure_hpa and humidity of the study's standard air.
    turf : str
        Firmness of the fairway.
    reference : dict
        Device and ball that carry is moved to, by `device` and `ball`; left out where the logs don't state them.
    """
    damp = "dry" if air["humidity"] == 0 else f"{100 * air['humidity']:.0f} % humidity"
    named = [f"{kind} {level}" for kind, level in sorted(reference.items(), reverse=True) if level != UNSTATED]
    scale = f", on the scale of {' and '.join(named)}" if named else ""
    return f"calm air of {air['temp_c']:g} deg C and {air['pressure_hpa']:g} hPa, {damp}, {turf} turf{scale}"


def _digest(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
