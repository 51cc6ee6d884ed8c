"""Templates of the pages: one environment, whose pages escape what they are given and know no undefined value."""

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

from pipeline.shown import IMPERIAL, angle_text, number_text, percent_text, ratio_text, signed_text, spin_text

# How figures are written in every template.
FILTERS = {
    "yards": IMPERIAL.distance_figure,
    "mph": IMPERIAL.speed_figure,
    "angle": angle_text,
    "spin": spin_text,
    "ratio": ratio_text,
    "percent": percent_text,
    "number": number_text,
    "signed": signed_text,
}


def templates_of(room: str) -> Environment:
    """Give the templates of a room of `pipeline.report`, such as page or lookup, with the scripts that pages share."""
    return templates_in(f"pipeline.report.{room}", "pipeline.report.shared")


def templates_in(*packages: str) -> Environment:
    """Give the templates of some packages."""
    loader = ChoiceLoader([PackageLoader(name) for name in packages])
    made = Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    made.filters |= FILTERS
    return made


def vendored(room: str, name: str) -> str:
    """Give a file of a room's folder `vendor` as it is."""
    return PackageLoader(f"pipeline.report.{room}", "vendor").get_source(Environment(autoescape=True), name)[0]
