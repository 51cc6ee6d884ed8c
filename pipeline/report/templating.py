"""Templates of the pages: one environment, whose pages escape what they are given and know no undefined value."""

from jinja2 import Environment, PackageLoader, StrictUndefined


def templates_of(room: str) -> Environment:
    """Give the templates of a room of `pipeline.report`, such as page or sheet."""
    loader = PackageLoader(f"pipeline.report.{room}")
    return Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True)
