"""The one palette of pages, figures and workbooks: each color by what it says, for light and for dark paper.

Greys carry the page. One hue, orange, asks for attention; one, blue, is good news and the way on (links, buttons, the
best of a map). Both stay apart for every eye, and nothing is told by color alone: shapes, hatches or words go with it.
`tests/report/test_palette.py` measures contrast and distances.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass

from pipeline.tables.golfers import PARTS


@dataclass(frozen=True)
class Palette:
    """Colors as #rrggbb, by role.

    Attributes
    ----------
    paper, card : str
        What everything stands on, and what stands out from it a little.
    ink, soft : str
        Text, and text beside it: at least 7:1 on paper and card.
    line, faint : str
        Lines that matter, at least 3:1 on paper, and lines that don't.
    attention, attention_pale : str
        Text that asks for attention, and what may lie behind it.
    good, good_pale : str
        The same for good news; also links and what can be pressed.
    attention_mark, good_mark : str
        Marks of a drawing, at least 3:1 on paper: brighter than text may be.
    on_good : str
        Text on `good`.
    map_low, map_high : str
        Ends of the shades of a map, least to most carry. Between paper and a middle tone, so that dots and words in
        ink keep their contrast on every shade.
    parts : tuple of str
        Parts of the yards lost, in the order of `PARTS`.
    """

    paper: str
    card: str
    ink: str
    soft: str
    line: str
    faint: str
    attention: str
    attention_pale: str
    attention_mark: str
    good: str
    good_pale: str
    good_mark: str
    on_good: str
    map_low: str
    map_high: str
    parts: tuple[str, ...]


LIGHT = Palette(
    paper="#ffffff",
    card="#f3f5f7",
    ink="#0d0d0d",
    soft="#333333",
    line="#6a6a6a",
    faint="#d4d8dc",
    attention="#7a2900",
    attention_pale="#fbe3d4",
    attention_mark="#c24a00",
    good="#00366b",
    good_pale="#cfe0f1",
    good_mark="#1f6fb5",
    on_good="#ffffff",
    map_low="#eef2f6",
    map_high="#74a9d8",
    parts=("#1b6aa5", "#e08a1e", "#7cc0ee", "#7d4f77", "#23402a", "#d9d9d9"),
)
DARK = Palette(
    paper="#0e1216",
    card="#171d23",
    ink="#f5f5f5",
    soft="#d6d6d6",
    line="#9a9a9a",
    faint="#39424b",
    attention="#ffb68c",
    attention_pale="#4a2611",
    attention_mark="#f0853f",
    good="#a9d1fa",
    good_pale="#223a52",
    good_mark="#58a6ec",
    on_good="#06121e",
    map_low="#10161b",
    map_high="#2d567f",
    parts=("#3f8fd0", "#eb9c3a", "#a8d8f8", "#a870a0", "#dcd8a8", "#4a4f55"),
)
THEMES = {"light": LIGHT, "dark": DARK}

# What tells the parts apart where color does not, in grey print and to any eye: matplotlib's hatches.
PART_HATCHES = ("", "///", "...", "\\\\\\", "", "")
# The shades of a map reach this far below the best, in yards or meters: what matters lies there, and a mishit would
# take most of them. Three times the usual tolerance of a window.
MAP_REACH = 15


def css_variables(scheme: Palette) -> str:
    """Write a palette as CSS custom properties: `--paper: #ffffff; ...`, each part as `--part-contact`.

    `--accent`, `--on-accent` and `--pale` are the names that the coach's page gave `good`, `on_good` and `good_pale`.
    """
    colors = {name.replace("_", "-"): value for name, value in asdict(scheme).items() if name != "parts"}
    colors |= {"accent": scheme.good, "on-accent": scheme.on_good, "pale": scheme.good_pale}
    colors |= {f"part-{name}": color for name, color in part_colors(scheme).items()}
    return " ".join(f"--{name}: {value};" for name, value in colors.items())


def palette_css() -> str:
    """Write the rules that give a page its colors: light, dark where the reader's device is, and light on paper."""
    light, dark = css_variables(LIGHT), css_variables(DARK)
    return (
        f":root {{ color-scheme: light dark; {light} }}\n"
        f"@media screen and (prefers-color-scheme: dark) {{ :root {{ {dark} }} }}\n"
        "@media print { :root { color-scheme: light; } }\n"
    )


def part_colors(scheme: Palette) -> dict[str, str]:
    """Give the colors of the parts of the yards lost by their short names, such as contact."""
    names = [part.removeprefix("lost_").removesuffix("_yd") for part in PARTS]
    return dict(zip(names, scheme.parts, strict=True))


def mixed(low: str, high: str, share: float) -> str:
    """Mix two colors: `low` at 0, `high` at 1, straight between them."""
    ends = [[int(color[i : i + 2], 16) for i in (1, 3, 5)] for color in (low, high)]
    return "#" + "".join(f"{round(a + share * (b - a)):02x}" for a, b in zip(*ends, strict=True))


def map_shades(scheme: Palette, steps: int) -> Sequence[str]:
    """Give the shades of a map from least to most carry, `steps` of them."""
    return [mixed(scheme.map_low, scheme.map_high, i / (steps - 1)) for i in range(steps)]
