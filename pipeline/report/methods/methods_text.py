"""The methods text, from its template."""

import re
from collections.abc import Mapping
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from pipeline.report.methods.methods_facts import listed

# What each set of coefficients is cited by.
SET_SOURCES = {
    "indoor-range-2001": ("US patent 6,186,002", "patent"),
    "lyu-2018": ("Lyu et al. 2018", "lyu"),
    "smits-smith-1994": ("Smits and Smith 1994", "smits"),
}


def methods_text(facts: Mapping[str, Any]) -> str:
    """Fill the template.

    Parameters
    ----------
    facts : mapping
        From the functions of `pipeline.report.methods.methods_facts`, together; `title`; `versions`, by package; and
        `code`.

    Returns
    -------
    str
        Markdown, a paragraph a line.
    """
    # Plain text for a manuscript: nothing in it is ever shown as HTML, and names from logs can't break a line.
    made = Environment(
        loader=PackageLoader("pipeline.report.methods"),
        autoescape=False,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["listed"] = listed
    cited, reference = SET_SOURCES[facts["set"]]
    text = made.get_template("methods.md.j2").render(**facts, set_cited=cited, set_reference=reference)
    return one_line_paragraphs(text)


def one_line_paragraphs(text: str) -> str:
    """Put each paragraph and each item of a list on a line of its own, without double spaces."""
    blocks = []
    for block in re.split(r"\n\s*\n", text.strip()):
        items = re.split(r"\n(?=- )", block)
        blocks.append("\n".join(" ".join(item.split()) for item in items))
    return "\n\n".join(blocks) + "\n"
