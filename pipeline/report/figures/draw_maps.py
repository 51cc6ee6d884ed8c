"""Draw each band's map of launch and spin for a study's newest quarter, for light and dark paper, as png and svg.

In: golfers.csv (Golfers), bands.csv (BandTable), chart.json (maps of the benchmark step).
Out: for every band, delivery_<band> and delivery_<band>_dark.

The academy's page shows the maps and no other pictures. So they are a step of their own: the page need not wait for
others, and a second core draws those.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.figure import Figure

from pipeline.report.figures.band_map import plot_band_map
from pipeline.report.figures.draw_figures import read_drawn, write_drawn
from pipeline.report.figures.drawn import Drawn
from pipeline.report.figures.look import lay_out_alike
from pipeline.report.figures.naming import delivery_name
from pipeline.report.palette import THEMES
from pipeline.shown import Units


def run(golfers: str, bands: str, chart: str, maps: Sequence[str], settings: Mapping[str, Any]) -> None:
    """Read the tables and write every band's maps.

    Parameters
    ----------
    golfers, bands, chart : str
        Paths of golfers.csv, bands.csv and chart.json.
    maps : sequence of str
        Paths of the maps to be made.
    settings : mapping
        Keys `study`, as pages print it, `bands` (`centres`, `half_width_mph`), `privacy` (`min_golfers`) and `units`.

    Raises
    ------
    UserError
        If an input can't be read or the maps don't follow from the bands' centres.
    """
    write_drawn(draw_maps(read_drawn(golfers, bands, chart, settings), settings), maps)


def draw_maps(shown: Drawn, settings: Mapping[str, Any]) -> dict[str, Figure]:
    """Draw every band's maps.

    Parameters
    ----------
    shown : Drawn
    settings : mapping
        Keys `privacy` and `units`, as for `run`.

    Returns
    -------
    dict
        Figures by name.
    """
    units = Units(settings["units"], "km/h" if settings["units"] == "metres" else "mph")
    choices = {"min_golfers": settings["privacy"]["min_golfers"], "units": units}
    drawn: dict[str, Figure] = {}
    for centre in shown.speed_bands.centres_mph:
        drawn |= _maps_of(shown, {"band_mph": centre, **choices})
    return drawn


def _maps_of(shown: Drawn, choices: dict[str, Any]) -> dict[str, Figure]:
    """Draw a band's map for each theme by name; they differ by their colors alone, and so are laid out once."""
    what = (shown.golfers, shown.bands, shown.chart, shown.speed_bands)
    maps = {theme: plot_band_map(*what, scheme=scheme, **choices) for theme, scheme in THEMES.items()}
    first, *others = maps.values()
    for other in others:
        lay_out_alike(other, first)
    return {delivery_name(choices["band_mph"], theme): figure for theme, figure in maps.items()}
