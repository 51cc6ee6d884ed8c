"""The methods text, from its template."""

import re
from collections.abc import Mapping
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from pipeline.report.methods.methods_facts import listed

# What each set of coefficients is cited by, in the text and in the references.
SETS_CITED = {
    "indoor-range-2001": "US patent 6,186,002 B1",
    "lyu-2018": "Lyu et al. 2018",
    "smits-smith-1994": "Smits and Smith 1994",
}
REFERENCES = {
    "Benjamini and Hochberg 1995": "Benjamini and Hochberg, J. R. Stat. Soc. B 57 (1995) 289, doi "
    "10.1111/j.2517-6161.1995.tb02031.x",
    "Breiman et al. 1984": "Breiman, Friedman, Olshen and Stone, Classification and Regression Trees (1984)",
    "Cameron and Miller 2015": "Cameron and Miller, J. Hum. Resour. 50 (2015) 317, doi 10.3368/jhr.50.2.317",
    "Harrell 2015": "Harrell, Regression Modeling Strategies (2015)",
    "Hyndman 1996": "Hyndman, Am. Stat. 50 (1996) 120, doi 10.1080/00031305.1996.10474359",
    "Lyu et al. 2018": "Lyu, Kensrud, Smith and Tosaya, Proceedings 2(6) (2018) 238, doi 10.3390/proceedings2060238",
    "Penner 2001": "Penner, Am. J. Phys. 69 (2001) 563, doi 10.1119/1.1344164",
    "Picard et al. 2008": "Picard, Davis, Gläser and Fujii, Metrologia 45 (2008) 149, doi 10.1088/0026-1394/45/2/004",
    "Satterthwaite (1946)": "Satterthwaite, Biometrics Bull. 2 (1946) 110, doi 10.2307/3002019",
    "Shapley's (1953)": "Shapley, A value for n-person games, Contributions to the Theory of Games II (1953) 307",
    "Smits and Smith 1994": "Smits and Smith, Science and Golf II (1994) 340",
    "US patent 6,186,002 B1": "US patent 6,186,002 B1 (2001), example regression",
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
    # Names from logs are `shown_text`, so they are no markup and can't break a line.
    made = Environment(
        loader=PackageLoader("pipeline.report.methods"),
        autoescape=False,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["listed"] = listed
    template, cited = made.get_template("methods.md.j2"), SETS_CITED[facts["set"]]
    text = template.render(**facts, set_cited=cited, references=[])
    named = [reference for citation, reference in REFERENCES.items() if citation in " ".join(text.split())]
    return one_line_paragraphs(template.render(**facts, set_cited=cited, references=named))


def one_line_paragraphs(text: str) -> str:
    """Put each paragraph and each item of a list on a line of its own, without double spaces."""
    blocks = []
    for block in re.split(r"\n\s*\n", text.strip()):
        items = re.split(r"\n(?=- )", block)
        blocks.append("\n".join(" ".join(item.split()) for item in items))
    return "\n\n".join(blocks) + "\n"
