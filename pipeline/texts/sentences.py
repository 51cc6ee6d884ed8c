"""A sentence of the catalogue with the figures that it names, written in somebody's units when it is read."""

from dataclasses import dataclass, field

from pipeline.shown import IMPERIAL, Units, number_text, ratio_text
from pipeline.texts.catalogue import texts, told


@dataclass(frozen=True)
class Sentence:
    """A sentence and its figures.

    Attributes
    ----------
    section, key : str
        Of the catalogue.
    figures : dict of str to float
        By names that end in their unit: speed_mph fills `{speed}`.
    words : dict of str to str
        Filled in as they are.
    """

    section: str
    key: str
    figures: dict[str, float] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)

    def text(self, units: Units = IMPERIAL) -> str:
        """Write the sentence, speeds in somebody's units."""
        written = dict(_written(name, value, units) for name, value in self.figures.items())
        return told(self.section, self.key, **self.words, **written)


def _written(name: str, value: float, units: Units) -> tuple[str, str]:
    """Give a figure's word in the sentence and its text: speeds as typed, but for the ends of the data."""
    word, unit = name.rsplit("_", 1) if "_" in name else (name, name)
    if unit == "mph":
        # In "from 65 to 119 mph" the unit stands once.
        ends = {"lo": units.speed_figure, "hi": units.speed_text}
        return word, ends.get(word, units.typed_speed_text)(value)
    if unit == "deg":
        return word, f"{number_text(value, 1)} {texts('units')['deg']}"
    if unit == "rpm":
        return word, f"{number_text(value)} {texts('units')['rpm']}"
    return (name if word == unit else f"ratio_{word}"), ratio_text(value)
