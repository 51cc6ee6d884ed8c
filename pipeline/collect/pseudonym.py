"""Pseudonyms of golfers and groups, and fingerprints of shots: keyed, so nobody can try out names without the key.

HMAC-SHA256 throughout (RFC 2104, FIPS 198-1). Pure: the key is given, no file is touched.
"""

import hmac
import re
import unicodedata
from typing import Literal

import duckdb
import polars as pl

Kind = Literal["golfer", "group"]

_INITIAL: dict[Kind, str] = {"golfer": "g", "group": "m"}
_HEX_OF_NAME = 16  # 64 bits: two of a million names share one with a chance of 3e-8
_HEX_OF_SHOT = 32
_BLOCK_BYTES = 64  # block of SHA-256
_WHOLE_NUMBER = re.compile(r"^(\d+)\.0+$")


def normalise_name(name: str) -> str:
    """Bring spellings of one name together.

    Compatible Unicode forms, letter case and white space are evened out, and a number that a spreadsheet turned into
    `12.0` is `12`.
    """
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


def mask(names: pl.Series, key: bytes, kind: Kind) -> pl.Series:
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

    Returns
    -------
    pl.Series
        Text, as long as `names`.
    """
    distinct = names.drop_nulls().unique().to_list()
    masked = {name: pseudonym(name, key, kind) for name in distinct}
    return names.replace_strict(masked, default=None, return_dtype=pl.String)


def shot_keys(golfers: pl.Series, seconds: pl.Series, key: bytes) -> pl.Series:
    """Fingerprint shots by golfer and second.

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
    messages = pl.select(pl.format("shot|{}|{}", golfers, seconds)).to_series()
    return keyed_digests(key, messages).str.slice(0, _HEX_OF_SHOT).alias("shot_key")


def keyed_digests(key: bytes, messages: pl.Series) -> pl.Series:
    """Give HMAC-SHA256 of each text as 64 hex digits, all at once; null stays null.

    The same function as `keyed_digest`, written out by its definition because DuckDB has SHA-256 for whole columns
    and no HMAC. Keys are at most 64 bytes.

    Raises
    ------
    ValueError
        If the key is longer than a block of SHA-256.
    """
    if len(key) > _BLOCK_BYTES:
        raise ValueError(f"the key has {len(key)} bytes, more than a block of {_BLOCK_BYTES}")
    padded = key.ljust(_BLOCK_BYTES, b"\0")
    inner, outer = (bytes(byte ^ pad for byte in padded) for pad in (0x36, 0x5C))
    table = pl.DataFrame({"message": messages.cast(pl.String)}).to_arrow()
    with duckdb.connect(":memory:", config={"threads": 1}) as connection:
        connection.register("messages", table)
        query = "SELECT sha256(?::BLOB || unhex(sha256(?::BLOB || encode(message)))) AS digest FROM messages"
        digests = connection.sql(query, params=[outer, inner]).to_arrow_table()
    return pl.Series("digest", digests.column("digest"), dtype=pl.String)
