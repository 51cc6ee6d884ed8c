"""The look that all figures share: colours, style, and bytes that are the same on every run."""

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import matplotlib as mpl
import seaborn as sns
from matplotlib.figure import Figure

DOTS_PER_INCH = 150

_PALETTE = sns.color_palette("colorblind")
FLAG_COLOUR = _PALETTE[3]  # vermilion, which no band has
PLAIN_COLOUR = (0.35, 0.35, 0.35)
CURVE_COLOUR = (0.0, 0.0, 0.0)
# Where the line about reachable deliveries runs between a point in reach (1) and one out of it (0): beside the former,
# since a delivery is reachable where all grid points about it are.
ON_REACH = 0.99

# Parts of the yards lost. The hatch tells them apart where colour does not: in grey print, to any eye.
PART_LOOKS = {
    "lost_contact_yd": ("contact", _PALETTE[0], ""),
    "lost_launch_yd": ("launch", _PALETTE[1], "///"),
    "lost_spin_yd": ("spin", _PALETTE[9], "..."),
    "lost_consistency_yd": ("consistency", _PALETTE[4], "\\\\\\"),
    "lost_other_yd": ("other", (0.85, 0.85, 0.85), ""),
}


def band_colours(centres_mph: Sequence[float]) -> dict[float, tuple[float, float, float]]:
    """Give each speed band its colour, the same in every figure of a study.

    Bands have an order, so their colours have one too: dark to light with speed, which survives grey print and
    every kind of colour blindness. The palest end is left out, for it is hard to see on white.

    Parameters
    ----------
    centres_mph : sequence of float
        Centres of the bands, mph.

    Returns
    -------
    dict
        Red, green and blue from 0 to 1, by centre.
    """
    ordered = sorted(float(centre) for centre in centres_mph)
    ramp = mpl.colormaps["viridis"]
    step = 0.75 / max(len(ordered) - 1, 1)
    shades = [ramp(0.05 + step * i) for i in range(len(ordered))]
    return {centre: (red, green, blue) for centre, (red, green, blue, _) in zip(ordered, shades, strict=True)}


@contextmanager
def house_style() -> Iterator[None]:
    """Set the style of a figure for the length of a block or, as a decorator, of a function."""
    rules = {
        **sns.axes_style("whitegrid"),
        **sns.plotting_context("notebook"),
        # The one typeface that comes with matplotlib: others would change the bytes from machine to machine.
        "font.family": "DejaVu Sans",
        "axes.titlelocation": "left",
        "axes.titlesize": 13,
        "axes.labelsize": 11,
        "xtick.labelsize": 10,
        "ytick.labelsize": 10,
        "legend.fontsize": 9.5,
        "hatch.linewidth": 0.6,
        "svg.hashsalt": "yardband",
    }
    with mpl.rc_context(rules):
        yield


def new_figure(width_in: float, height_in: float) -> Figure:
    """Make an empty figure of this width and height in inches, laid out so that nothing is cut off."""
    return Figure(figsize=(width_in, height_in), dpi=DOTS_PER_INCH, layout="constrained")


@house_style()
def figure_bytes(figure: Figure, kind: str) -> bytes:
    """Draw a figure to the bytes of a file, without date or software version.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        The figure.
    kind : str
        png or svg.

    Returns
    -------
    bytes
        The file's content; the same figure gives the same bytes.
    """
    unstamped = {"png": {"Software": None}, "svg": {"Date": None, "Creator": None}}[kind]
    buffer = io.BytesIO()
    figure.savefig(buffer, format=kind, dpi=DOTS_PER_INCH, metadata=unstamped)
    return buffer.getvalue()
