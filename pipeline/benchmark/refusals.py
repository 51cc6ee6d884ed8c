"""Why there is no answer, in the catalogue's words; the coach's page fills in the same sentences."""

from dataclasses import dataclass

from pipeline.shown import IMPERIAL, Units
from pipeline.texts.catalogue import told


@dataclass(frozen=True)
class Refusal:
    """A reason, and the figures that its sentence names.

    Attributes
    ----------
    key : str
        Of the section `refusals` of the catalogue.
    figures : dict of str to float
        By names that end in their unit.
    """

    key: str
    figures: dict[str, float]

    def sentence(self, units: Units = IMPERIAL) -> str:
        """Write the sentence, speeds in somebody's units."""
        return told("refusals", self.key, **dict(_written(*item, units) for item in self.figures.items()))


def _written(name: str, value: float, units: Units) -> tuple[str, str]:
    """Give a figure's word in the sentence and its text: as typed, but for the usual ones and ratios."""
    word, unit = name.rsplit("_", 1) if "_" in name else (name, name)
    if unit == "mph":
        return word, units.speed_text(value) if word in ("lo", "hi") else units.typed_speed_text(value)
    if unit == "deg":
        return word, f"{value:.1f} deg"
    if unit == "rpm":
        return word, f"{value:,.0f} rpm"
    return (name if word == unit else f"ratio_{word}"), f"{value:.2f}"
