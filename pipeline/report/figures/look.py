"""The look that all figures share: the palette as matplotlib takes it, style, and bytes that are the same each run."""

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from PIL import Image

from pipeline.report.palette import LIGHT, PART_HATCHES, Palette, mixed, part_colors
from pipeline.tables.golfers import PARTS

# Those of seaborn's whitegrid for notebooks that `house_style` doesn't set itself. seaborn takes pandas along, which
# takes longer to import than half of the figures to draw.
WHITE_GRID = {
    "axes.axisbelow": True,
    "axes.grid": True,
    "axes.linewidth": 1.25,
    "font.size": 12,
    "grid.linestyle": "-",
    "grid.linewidth": 1,
    "legend.title_fontsize": 12,
    "lines.linewidth": 1.5,
    "lines.markersize": 6,
    "lines.solid_capstyle": "round",
    "patch.edgecolor": "w",
    "patch.force_edgecolor": True,
    "patch.linewidth": 1,
    **{f"axes.spines.{side}": True for side in ("bottom", "left", "right", "top")},
    **{
        f"{axis}tick.{side}": False
        for axis, sides in (("x", "bottom top"), ("y", "left right"))
        for side in sides.split()
    },
    **{f"{axis}tick.direction": "out" for axis in "xy"},
    **{f"{axis}tick.major.{name}": size for axis in "xy" for name, size in (("size", 6), ("width", 1.25))},
    **{f"{axis}tick.minor.{name}": size for axis in "xy" for name, size in (("size", 4), ("width", 1))},
}

DOTS_PER_INCH = 150
# A picture's own colors are few shades and their edges; so many hold them without a visible step, and the page that
# carries ten of them is less than a third as large (a band's map: 33 kB for 105 kB).
PNG_COLORS = 128
PNG_EFFORT = 8  # of 9, which takes 2.5 times as long for files that are 1.4 % smaller

# Where the line about reachable deliveries runs between a point in reach (1) and one out of it (0): beside the former,
# since a delivery is reachable where all grid points about it are.
ON_REACH = 0.99

FLAG_COLOUR = to_rgb(LIGHT.attention_mark)  # which no band has
PLAIN_COLOUR = to_rgb(LIGHT.line)
CURVE_COLOUR = to_rgb(LIGHT.ink)
# Parts of the yards lost: what they are called, their color, and the hatch that tells them apart where color doesn't.
PART_LOOKS = {
    part: (name, to_rgb(color), hatch)
    for part, (name, color), hatch in zip(PARTS, part_colors(LIGHT).items(), PART_HATCHES, strict=True)
}


def band_colours(centres_mph: Sequence[float]) -> dict[float, tuple[float, float, float]]:
    """Give each speed band its color, the same in every figure of a study.

    Bands have an order, so their colors have one too: dark to light with speed, which survives grey print and every
    kind of color blindness.

    Parameters
    ----------
    centres_mph : sequence of float
        Centers of the bands, mph.

    Returns
    -------
    dict
        Red, green and blue from 0 to 1, by center.
    """
    ordered = sorted(float(centre) for centre in centres_mph)
    step = 1 / max(len(ordered) - 1, 1)
    return {centre: to_rgb(mixed(LIGHT.good, LIGHT.map_high, i * step)) for i, centre in enumerate(ordered)}


@contextmanager
def house_style(scheme: Palette = LIGHT) -> Iterator[None]:
    """Set the style of a figure for the length of a block or, as a decorator, of a function.

    Parameters
    ----------
    scheme : Palette
        Light or dark paper.
    """
    rules: dict[Any, Any] = {
        **WHITE_GRID,
        **dict.fromkeys(("figure.facecolor", "axes.facecolor"), scheme.paper),
        **dict.fromkeys(("text.color", "axes.labelcolor", "xtick.labelcolor", "ytick.labelcolor"), scheme.ink),
        **dict.fromkeys(("axes.edgecolor", "xtick.color", "ytick.color"), scheme.line),
        "grid.color": scheme.faint,
        # The one typeface that comes with matplotlib: others would change the bytes from machine to machine.
        "font.family": "DejaVu Sans",
        "axes.titlelocation": "left",
        "axes.titley": 1.0,  # nothing stands above axes; else their ticks are measured again to find that out
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
        The figure. Its layout is found for the first file and stays: what is added to it later moves nothing.
    kind : str
        png or svg.

    Returns
    -------
    bytes
        The file's content; the same figure gives the same bytes.
    """
    canvas = FigureCanvasAgg(figure)
    settle_layout(figure)
    if kind == "png":
        canvas.draw()
        return _few_colors(Image.frombuffer("RGBA", canvas.get_width_height(), canvas.buffer_rgba()))
    buffer = io.BytesIO()
    figure.savefig(buffer, format=kind, metadata={"Date": None, "Creator": None})
    return buffer.getvalue()


def settle_layout(figure: Figure) -> None:
    """Lay a figure out, unless it is.

    matplotlib would do so for each file, and draw all of it once more for that.
    """
    layout = figure.get_layout_engine()
    if layout is not None:
        layout.execute(figure)
        figure.set_layout_engine(None)


def lay_out_alike(figure: Figure, other: Figure) -> None:
    """Lay a figure out as another of the same parts and words, such as the one for dark paper as that for light."""
    settle_layout(other)
    for own, its in zip(figure.axes, other.axes, strict=True):
        own.set_position(its.get_position(original=True), which="original")
    for own_text, its_text in zip(figure.texts, other.texts, strict=True):
        own_text.set_position(its_text.get_position())
    figure.set_layout_engine(None)


def _few_colors(picture: Image.Image) -> bytes:
    """Write a picture as png with `PNG_COLORS` colors, the nearest to its own."""
    made = io.BytesIO()
    few = picture.convert("RGB").quantize(PNG_COLORS, Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    few.save(made, "PNG", compress_level=PNG_EFFORT, dpi=(DOTS_PER_INCH, DOTS_PER_INCH))
    return made.getvalue()
