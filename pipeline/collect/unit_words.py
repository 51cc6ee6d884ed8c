"""Units as logs write them, in headers, in lines of units and behind numbers (pure)."""

import unicodedata

# By how `pipeline.units` writes them; folded, and without spaces and points. % is percent.
_UNITS = {
    "mph": "mph mi/h miles/h milesperhour",
    "km/h": "km/h kmh kph km/std",
    "m/s": "m/s mps ms-1 m/sec m/sek",
    "ft/s": "ft/s fps ft/sec",
    "yd": "yd yds yard yards",
    "m": "m meter meters metre metres metros metri metern",
    "ft": "ft feet fuss pieds",
    "deg": "deg degree degrees grad degres grados gradi grader graden °",
    "rad": "rad radian radians",
    "rpm": "rpm u/min tr/min 1/min min-1 /min giri/min varv/min omw/min r/min rev/min",
    "1/s": "1/s s-1 /s hz rps rev/s u/s tr/s r/s",
    "rad/s": "rad/s",
    "degC": "°c c degc celsius",
    "degF": "°f f degf fahrenheit",
    "hPa": "hpa mbar mb",
    "kPa": "kpa",
    "inHg": "inhg",
    "%": "% percent prozent",
}
_UNIT_OF = {word: unit for unit, words in _UNITS.items() for word in words.split()}


def unit_named(text: str) -> str | None:
    """Give the unit that a text is; None if it is none."""
    bare = folded(text).replace(" ", "").replace(".", "").strip("()[]{}").replace("\u2044", "/")
    return _UNIT_OF.get(bare)


def words_of(unit: str) -> list[str]:
    """List how a unit is written, in small letters and without points, the longest first."""
    return sorted(_UNITS.get(unit, unit).split(), key=lambda word: (-len(word), word))


def folded(text: str) -> str:
    """Fold capitals and accents, but for the sign of degrees."""
    apart = unicodedata.normalize("NFKD", text.replace("°", "\0")).replace("\0", "°").casefold()
    return "".join(sign for sign in apart if unicodedata.category(sign)[0] != "M").replace("\u207b\u00b9", "-1")
