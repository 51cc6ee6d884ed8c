"""The academy's page: the document around the payload that its scripts show."""

import base64
import hashlib
from collections.abc import Iterable, Iterator, Mapping
from html import escape
from itertools import islice
from typing import Any, Literal, TypeVar

from jinja2.utils import htmlsafe_json_dumps
from markupsafe import Markup

from pipeline.coach.practice.practice import SPEED_PRACTICE_CAUTIONS
from pipeline.report.figures.naming import LINKS
from pipeline.report.palette import palette_css
from pipeline.report.shared.scripts import SHARED_SCRIPTS
from pipeline.report.templating import templates_of, vendored
from pipeline.shown import Units
from pipeline.texts.catalogue import sections, texts

LIBRARIES = ("d3.min.js", "plot.umd.min.js", "tabulator.min.js")
LIBRARY_STYLE = "tabulator_simple.min.css"
# Each view is a script and a style of its own; the frame comes before them, and what starts the page after them.
VIEWS = ("quarter", "golfers", "golfer", "bands", "data")
CONTENTS = ("quarter", "golfers", "bands", "data")
# Plot puts this style into every chart; the page's policy lets no other in. A renewed Plot may change it.
PLOT_STYLE = """:where(.plot-d6a7b5) {
  --plot-background: white;
  display: block;
  height: auto;
  height: intrinsic;
  max-width: 100%;
}
:where(.plot-d6a7b5 text),
:where(.plot-d6a7b5 tspan) {
  white-space: pre;
}"""
# Golfers' stories in one script tag: a golfer's view parses one of them, about 100 kB, at a time.
STORIES_EACH = 20
WRITTEN_EACH = 1000  # rows of a list that are written at a time

Given = TypeVar("Given")

# Nothing that is written holds itself: not to look for that saves a tenth of the time.
_JSON: Any = {
    "sort_keys": False,
    "allow_nan": False,
    "ensure_ascii": False,
    "separators": (",", ":"),
    "check_circular": False,
}


def build_page(payload: Mapping[str, Any]) -> Iterator[str]:
    """Build the academy's page.

    Parameters
    ----------
    payload : mapping
        As `pipeline.report.page.payload` makes it. `stories`, golfers and what is told of each, are shared out over
        script tags; every other part has a tag of its own and is `data.NAME` of the scripts.

    Yields
    ------
    str
        Piece by piece, a whole HTML document that needs no other file and may reach for none.
    """
    environment = templates_of("page")
    environment.filters["plain"] = plain_text
    environment.filters["json"] = json_pieces
    style, scripts, words = _style(), _scripts(), view_texts()
    study = payload["study"]
    # Markup is right here: style and scripts are the package's own files.
    return environment.get_template("academy.html.j2").generate(
        policy=Markup(_policy(style, scripts)),
        title=study["title"],
        style=Markup(style),
        scripts=[Markup(script) for script in scripts],
        t=words,
        views=[(name, words[name]) for name in CONTENTS],
        links=[(LINKS["lookup"], words["lookup"]), (LINKS["diagnostics"], words["diagnostics"])],
        parts={name: part for name, part in payload.items() if name != "stories"}
        | {"texts": words, "settings": page_settings(study["units"])},
        stories=map(dict, _batches(payload["stories"], STORIES_EACH)),
    )


def json_pieces(value: Any) -> Iterator[Markup]:
    """Write a value as JSON that can stand in a script tag, piece by piece.

    Parameters
    ----------
    value : object
        Of plain values; an iterator, which becomes a list, is written as it is read. So it is as a value of a mapping.
    """
    if isinstance(value, Iterator):
        yield Markup("[")
        for place, some in enumerate(_batches(value, WRITTEN_EACH)):
            yield Markup("," if place else "") + _json(some)[1:-1]
        yield Markup("]")
    elif isinstance(value, Mapping) and any(isinstance(one, Iterator) for one in value.values()):
        yield Markup("{")
        for place, (name, one) in enumerate(value.items()):
            yield Markup("," if place else "") + _json(name) + Markup(":")
            yield from json_pieces(one)
        yield Markup("}")
    else:
        yield _json(value)


def _json(value: Any) -> Markup:
    return htmlsafe_json_dumps(value, **_JSON)


def _batches(values: Iterable[Given], size: int) -> Iterator[list[Given]]:
    left = iter(values)
    while some := list(islice(left, size)):
        yield some


def plain_text(text: str) -> Markup:
    """Escape a text just as a browser does when it writes a document down.

    Not for attributes with double quotes. So the page that "save without names" writes equals this file, byte by byte.
    """
    return Markup(escape(text, quote=False).replace("\u00a0", "&nbsp;"))


def view_texts() -> dict[str, str]:
    """Give the texts of all views by their keys: the catalogue's sections academy_views, academy_golfer and so on.

    No two of them share a key; `tests/report/test_page_document.py` checks it.
    """
    named = [name for name in sections() if name.startswith("academy_")]
    return {key: text for name in named for key, text in texts(name).items()}


def page_settings(distance: Literal["yards", "metres"]) -> dict[str, Any]:
    """Give what the scripts go by beside the payload: units, golfers in a chunk of stories, cautions on practice."""
    return {
        "units": units_of_page(distance),
        "stories_each": STORIES_EACH,
        "cautions": list(SPEED_PRACTICE_CAUTIONS),
    }


def units_of_page(distance: Literal["yards", "metres"]) -> dict[str, dict[str, Any]]:
    """Give the page's units as `lookup_shown.js` takes them: text, yd or mph in one of them, decimals."""
    units = Units(distance, "km/h" if distance == "metres" else "mph")
    return {
        "distance": {"text": units.distance_unit, "each": units.yd_each},
        "speed": {"text": units.speed_unit, "each": units.mph_each, "decimals": units.speed_decimals},
    }


def vendor_text(name: str) -> str:
    """Read a vendored file, without the line that names a source map, which the page doesn't have."""
    lines = [line for line in vendored("page", name).splitlines() if not line.startswith("//# sourceMappingURL")]
    return "\n".join(lines).partition("/*# sourceMappingURL")[0]


def _style() -> str:
    styles = [templates_of("page").get_template(name).render() for name in ("academy.css", *_files_of_views("css"))]
    return "\n".join([vendor_text(LIBRARY_STYLE), palette_css(), *styles])


def _scripts() -> list[str]:
    names = [*SHARED_SCRIPTS, "academy_frame.js", "academy_names.js", *_files_of_views("js"), "academy_start.js"]
    own = [templates_of("page").get_template(name).render() for name in names]
    return [*(vendor_text(name) for name in LIBRARIES), "\n".join(own)]


def _files_of_views(ending: str) -> list[str]:
    """List the views' scripts or styles, before each those that help it, such as academy_golfer_charts.js."""
    names = templates_of("page").list_templates(extensions=[ending])
    order = (
        [name for name in names if name.startswith(f"academy_{view}_")] + [f"academy_{view}.{ending}"] for view in VIEWS
    )
    return [name for some in order for name in some]


def _policy(style: str, scripts: Iterable[str]) -> str:
    allowed = {
        "default-src": "'none'",
        "script-src": " ".join(map(_digest, scripts)),
        "style-src": f"{_digest(style)} {_digest(PLOT_STYLE)}",
        "img-src": "data:",
        "base-uri": "'none'",
        "form-action": "'none'",
    }
    return "; ".join(f"{name} {source}" for name, source in allowed.items())


def _digest(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
