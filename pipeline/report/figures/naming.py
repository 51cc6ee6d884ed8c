"""Names of the figures, and of the pages beside the academy's."""

from collections.abc import Sequence

from pipeline.errors import UserError
from pipeline.report.palette import THEMES

CARRY = "carry_by_speed"
LOSSES = "losses"
FORMATS = ("png", "svg")

# Other pages as they lie from report/academy.html.
LINKS = {
    "lookup": "lookup.html",
    "diagnostics": "../model/diagnostics.html",
    "comparison": "../model/comparison.md",
}


def delivery_name(band_mph: float, theme: str = "light") -> str:
    """Name the launch and spin map of the band with this center in mph: 90 gives delivery_90, 92.5 delivery_92p5.

    The one for dark paper is delivery_90_dark.
    """
    return f"delivery_{band_mph:g}".replace(".", "p") + ("" if theme == "light" else f"_{theme}")


def map_names(centres_mph: Sequence[float]) -> list[str]:
    """List the names of the bands' maps, by rising speed, each for light and for dark paper.

    Parameters
    ----------
    centres_mph : sequence of float
        Centers of the study's bands, mph.

    Returns
    -------
    list of str
        File names without their suffix.
    """
    return [delivery_name(centre, theme) for centre in sorted(centres_mph) for theme in THEMES]


def match_paths(paths: Sequence[str], names: Sequence[str], formats: Sequence[str]) -> dict[str, dict[str, str]]:
    """Find the path of every figure and format among the paths that the workflow names.

    Parameters
    ----------
    paths : sequence of str
        Paths of figures, in any order.
    names : sequence of str
        Figures that must be there.
    formats : sequence of str
        Formats that must be there of each figure, png or svg.

    Returns
    -------
    dict
        For each figure, in the order of `names`, its path by format.

    Raises
    ------
    UserError
        If a figure is missing.
    """
    by_file = {path.rpartition("/")[2]: path for path in paths}
    lacking = [f"{name}.{kind}" for name in names for kind in formats if f"{name}.{kind}" not in by_file]
    if lacking:
        raise UserError(
            f"figures: {lacking[0]} is not among the workflow's figures; "
            "let them follow from the key bands.centres of study.yaml."
        )
    return {name: {kind: by_file[f"{name}.{kind}"] for kind in formats} for name in names}
