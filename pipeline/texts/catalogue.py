"""Reading the catalogue of texts (package data, read once)."""

import tomllib
from functools import cache
from importlib import resources

LANGUAGE = "english"


@cache
def texts(section: str) -> dict[str, str]:
    """Give the texts of one section of the catalogue by their keys.

    Raises
    ------
    KeyError
        If the catalogue has no such section.
    """
    source = resources.files("pipeline.texts") / f"{LANGUAGE}.toml"
    found: dict[str, str] = tomllib.loads(source.read_text(encoding="utf-8"))[section]
    return found


def told(section: str, key: str, **words: str) -> str:
    """Fill one text of the catalogue with words.

    Raises
    ------
    KeyError
        If the text isn't there, or one of its words isn't given.
    """
    return texts(section)[key].format(**words)
