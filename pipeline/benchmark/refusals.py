"""Why there is no answer, in the catalogue's words; the coach's page fills in the same sentences."""

from dataclasses import dataclass

from pipeline.shown import IMPERIAL, Units
from pipeline.texts.sentences import Sentence


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
        return Sentence("refusals", self.key, self.figures).text(units)
