"""Reading the catalogue of texts (package data, read once)."""

import tomllib
from functools import cache
from importlib import resources

LANGUAGE = "english"


@cache
def _catalogue() -> dict[str, dict[str, str]]:
    source = resources.files("pipeline.texts") / f"{LANGUAGE}.toml"
    return tomllib.loads(source.read_text(encoding="utf-8"))


def sections() -> list[str]:
    """List the catalogue's sections, in its order."""
    return list(_catalogue())


def texts(section: str) -> dict[str, str]:
    """Give the texts of one section of the catalogue by their keys.

    Raises
    ------
    KeyError
        If the catalogue has no such section.
    """
    return _catalogue()[section]


def told(section: str, key: str, **words: str) -> str:
    """Fill one text of the catalogue with words.

    Raises
    ------
    KeyError
        If the text isn't there, or one of its words isn't given.
    """
    return texts(section)[key].format(**words)
