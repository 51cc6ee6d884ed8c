"""Pseudonyms of golfers and groups, and fingerprints of shots: keyed, so nobody can try out names without the key.

Pseudonyms are HMAC-SHA256 (RFC 2104, FIPS 198-1). Pure: the key is given, no file is touched.
"""

import hmac
import re
import unicodedata
from functools import cache
from typing import Literal

import duckdb
import polars as pl

Kind = Literal["golfer", "group"]

_INITIAL: dict[Kind, str] = {"golfer": "g", "group": "m"}
_HEX_OF_NAME = 16  # 64 bits: two of a million names share one with a chance of 3e-8
_HEX_OF_SHOT = 32
# Golfer, a mark and ten digits of second take 28 bytes more and SHA-256's own end 9: within a block of 64.
_BYTES_OF_SUBKEY = 24
# Signs that Unicode tells readers to ignore, and those that turn the direction of text.
IGNORED = (
    r"[\x{AD}\x{34F}\x{61C}\x{115F}\x{1160}\x{17B4}\x{17B5}\x{180B}-\x{180F}\x{200B}-\x{200F}\x{202A}-\x{202E}"
    r"\x{2060}-\x{206F}\x{3164}\x{FE00}-\x{FE0F}\x{FEFF}\x{FFA0}\x{FFF0}-\x{FFFB}\x{1BCA0}-\x{1BCA3}"
    r"\x{1D173}-\x{1D17A}\x{E0000}-\x{E0FFF}]"
)
_SIGN = re.sub(r"\\x\{([0-9A-F]+)\}", lambda sign: f"\\U{int(sign[1], 16):08X}", IGNORED)
# Some are part of how names are written, and pseudonyms of such names stay: joiners inside words of scripts from Arabic
# to Sinhala, and the variants of Han and Mongolian letters. Names that differ by these alone are told as look-alikes.
_WRITTEN = (
    "(?<=[\u0600-\u0dff])[\u200c\u200d](?=[\u0600-\u0dff])|(?<=[\u3400-\u9fff\U00020000-\U0003ffff])"
    "[\ufe00-\ufe0f\U000e0100-\U000e01ef]|(?<=[\u1820-\u18af])[\u180b-\u180e]"
)
_IGNORED = re.compile(f"({_WRITTEN})|{_SIGN}")
_WHOLE_NUMBER = re.compile(r"^(\d+)\.0+$")


def normalise_name(name: str) -> str:
    """Bring spellings of one name together.

    Compatible Unicode forms, letter case and white space are evened out, and a number that a spreadsheet turned into
    `12.0` is `12`. Signs that nobody sees, such as joiners and marks of direction, are left out.
    """
    if name.isascii():
        return _WHOLE_NUMBER.sub(r"\1", " ".join(name.lower().split()))
    name = _IGNORED.sub(lambda sign: sign[1] or "", name)
    folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold())
    return _WHOLE_NUMBER.sub(r"\1", " ".join(folded.split()))


def keyed_digest(key: bytes, message: bytes) -> str:
    """Give HMAC-SHA256 as 64 hex digits."""
    return hmac.digest(key, message, "sha256").hex()


def pseudonym(name: str, key: bytes, kind: Kind) -> str:
    """Give the pseudonym of a name: `g` or `m` and 16 hex digits.

    A golfer and a group of the same name have unlike pseudonyms.
    """
    message = f"{kind}\0{normalise_name(name)}".encode()
    return _INITIAL[kind] + keyed_digest(key, message)[:_HEX_OF_NAME]


def mask(names: pl.Series, key: bytes, kind: Kind, known: dict[str, str] | None = None) -> pl.Series:
    """Replace names by pseudonyms.

    Only the distinct names are worked on one by one; null stays null.

    Parameters
    ----------
    names : pl.Series
        Text.
    key : bytes
        The study's secret key.
    kind : {'golfer', 'group'}
        What the names belong to.
    known : dict of str to str, optional
        Pseudonyms by name that were worked out before; takes the new ones.

    Returns
    -------
    pl.Series
        Text, as long as `names`.
    """
    known = {} if known is None else known
    distinct = names.drop_nulls().unique().to_list()
    known |= {name: pseudonym(name, key, kind) for name in distinct if name not in known}
    here = {name: known[name] for name in distinct}
    return names.replace_strict(here, default=None, return_dtype=pl.String)


def shot_keys(golfers: pl.Series, seconds: pl.Series, key: bytes) -> pl.Series:
    """Fingerprint shots by golfer and second.

    The first 128 bits of SHA-256 over a key of 192 bits, made from the study's for this use alone, and then golfer and
    second. All stand in one block of SHA-256 and the digest is cut, so nothing can be appended; who can't tell
    SHA-256's keyed compression from chance, as HMAC assumes too, learns nothing. A quarter of HMAC's work.

    The key is needed although golfers are pseudonyms already: the time of day isn't stored anywhere, and without a
    key it could be found by trying out all 86,400 seconds. Readings are no part of it. Exports of one shot in other
    units round them differently, and however coarse a grid is, some pairs fall on both sides of a line; so the
    loading step compares the readings themselves, with a tolerance, among shots of one fingerprint.

    Parameters
    ----------
    golfers : pl.Series
        Pseudonyms.
    seconds : pl.Series
        Unix time, whole seconds.
    key : bytes
        The study's secret key.

    Returns
    -------
    pl.Series
        32 hex digits each; null where golfer or time is.
    """
    messages = pl.select(pl.format("{}|{}", golfers, seconds).alias("message"))
    subkey = hmac.digest(key, b"shot", "sha256")[:_BYTES_OF_SUBKEY]
    engine = _engine()
    engine.register("messages", messages.to_arrow())
    query = f"SELECT left(sha256(?::BLOB || encode(message)), {_HEX_OF_SHOT}) AS digest FROM messages"
    digests = engine.sql(query, params=[subkey]).to_arrow_table()
    keys = pl.Series("shot_key", digests.column("digest"), dtype=pl.String)
    engine.unregister("messages")
    return keys


@cache
def _engine() -> duckdb.DuckDBPyConnection:
    """Open DuckDB, which has SHA-256 for whole columns; once, since that takes longer than a small log's drives."""
    return duckdb.connect(":memory:", config={"threads": 1})
