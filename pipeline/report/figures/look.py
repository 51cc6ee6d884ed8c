"""The look that all figures share: the palette as matplotlib takes it, style, and bytes that are the same each run."""

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
import seaborn as sns
from matplotlib.backend_bases import RendererBase
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine
from PIL import Image

from pipeline.report.palette import LIGHT, PART_HATCHES, Palette, mixed, part_colors
from pipeline.tables.golfers import PARTS

DOTS_PER_INCH = 150
# A picture's own colors are few shades and their edges; so many hold them without a visible step, and the page that
# carries ten of them is less than a third as large (a band's map: 33 kB for 105 kB).
PNG_COLORS = 128

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
        **sns.axes_style("whitegrid"),
        **sns.plotting_context("notebook"),
        **dict.fromkeys(("figure.facecolor", "axes.facecolor"), scheme.paper),
        **dict.fromkeys(("text.color", "axes.labelcolor", "xtick.labelcolor", "ytick.labelcolor"), scheme.ink),
        **dict.fromkeys(("axes.edgecolor", "xtick.color", "ytick.color"), scheme.line),
        "grid.color": scheme.faint,
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


class _LaidOut(Figure):
    """A figure that is laid out before it is printed, and drawn once.

    matplotlib draws one with a layout twice for each file, of which the first is for the layout alone.
    """

    printed = False

    def draw(self, renderer: RendererBase) -> None:
        """Draw it, or only find its layout while that isn't settled, as before printing."""
        layout = self.get_layout_engine()
        if self.printed and isinstance(layout, ConstrainedLayoutEngine):
            layout.execute(self)
        else:
            super().draw(renderer)


def new_figure(width_in: float, height_in: float) -> Figure:
    """Make an empty figure of this width and height in inches, laid out so that nothing is cut off."""
    return _LaidOut(figsize=(width_in, height_in), dpi=DOTS_PER_INCH, layout="constrained")


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
    if isinstance(figure, _LaidOut):
        figure.printed = True
    # The picture is written again below: the first time is quickest unpacked.
    settings: dict[str, Any] = {"pil_kwargs": {"compress_level": 0}} if kind == "png" else {}
    figure.savefig(buffer, format=kind, dpi=DOTS_PER_INCH, metadata=unstamped, **settings)
    return _fewer_colors(buffer.getvalue()) if kind == "png" else buffer.getvalue()


def _fewer_colors(png: bytes) -> bytes:
    """Write a picture again with `PNG_COLORS` colors, the nearest to its own."""
    made = io.BytesIO()
    with Image.open(io.BytesIO(png)) as picture:
        few = picture.convert("RGB").quantize(PNG_COLORS, Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
        few.save(made, "PNG", optimize=True, dpi=(DOTS_PER_INCH, DOTS_PER_INCH))
    return made.getvalue()
