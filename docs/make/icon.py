"""Draw the icon of the coach's page: a band of carry against club speed, as SVG and as PNG of the sizes in the shell.

.venv/bin/python docs/make/icon.py        writes them into pipeline/serve/static
"""

from pathlib import Path

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from pipeline.serve.shell import BACKGROUND, ICON, ICON_PIXELS

STATIC = Path(__file__).parents[2] / "pipeline/serve/static"

# In hundredths of the icon, y upward. All of it lies within 40 of the middle, which every phone's mask leaves
# (W3C, Web Application Manifest: maskable icons).
SIZE = 100
BAND_COLOR, LINE_COLOR = "#e9b44c", "#ffffff"
LOWER = [(30, 32), (41, 38), (52, 45), (63, 53), (74, 62)]
UPPER = [(30, 47), (41, 55), (52, 63), (63, 70), (74, 76)]
AXES = [(23, 75), (23, 25), (77, 25)]
AXES_WIDTH = 4
DOT, DOT_RADIUS = (54, 55), 5


def write_svg() -> str:
    """Write the icon as SVG."""
    band = " ".join(f"{x},{SIZE - y}" for x, y in [*LOWER, *reversed(UPPER)])
    axes = " ".join(f"{x},{SIZE - y}" for x, y in AXES)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {SIZE} {SIZE}">\n'
        f'<rect width="{SIZE}" height="{SIZE}" fill="{BACKGROUND}"/>\n'
        f'<polygon points="{band}" fill="{BAND_COLOR}"/>\n'
        f'<polyline points="{axes}" fill="none" stroke="{LINE_COLOR}" stroke-width="{AXES_WIDTH}" '
        'stroke-linecap="round" stroke-linejoin="round"/>\n'
        f'<circle cx="{DOT[0]}" cy="{SIZE - DOT[1]}" r="{DOT_RADIUS}" fill="{BACKGROUND}"/>\n'
        "</svg>\n"
    )


def draw(pixels: int) -> Figure:
    """Draw the same with matplotlib; a hundredth of the icon is 0.72 points at 100 pixels an inch."""
    figure = Figure(figsize=(pixels / 100, pixels / 100), dpi=100, facecolor=BACKGROUND)
    canvas = FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1), xlim=(0, SIZE), ylim=(0, SIZE))
    axes.axis("off")
    points = pixels / SIZE * 0.72
    axes.fill(*zip(*LOWER, *reversed(UPPER), strict=True), color=BAND_COLOR, linewidth=0)
    axes.plot(
        *zip(*AXES, strict=True),
        color=LINE_COLOR,
        linewidth=AXES_WIDTH * points,
        solid_capstyle="round",
        solid_joinstyle="round",
    )
    axes.plot(*DOT, "o", color=BACKGROUND, markersize=2 * DOT_RADIUS * points, markeredgewidth=0)
    canvas.draw()
    return figure


def main() -> None:
    """Write the files."""
    (STATIC / ICON).write_text(write_svg(), encoding="utf-8", newline="\n")
    for name, pixels in ICON_PIXELS.items():
        draw(pixels).savefig(STATIC / name, metadata={"Software": None})
    print(f"Wrote {ICON} and {len(ICON_PIXELS)} PNG files.")


if __name__ == "__main__":
    main()
