import hashlib
import hmac
import unicodedata

import polars as pl
import pytest
from collect_samples import KEY

from pipeline.collect.pseudonym import keyed_digest, mask, normalise_name, pseudonym, shot_keys

# RFC 4231, test cases 1 and 2 of HMAC-SHA256.
VECTORS = [
    (b"\x0b" * 20, "Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
    (b"Jefe", "what do ya want for nothing?", "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"),
]


@pytest.mark.parametrize(("key", "message", "digest"), VECTORS)
def test_digests_match_the_published_vectors(key, message, digest):
    assert keyed_digest(key, message.encode()) == digest


@pytest.mark.parametrize("spelling", ["Ann Oak", " ann  oak ", "ANN OAK", "Ann\u00a0Oak", "Ann\tOak", "\uff21nn Oak"])
def test_spellings_of_one_name_are_one(spelling):
    assert normalise_name(spelling) == "ann oak"


@pytest.mark.parametrize(
    ("name", "normal"),
    [("12.0", "12"), ("12.000", "12"), ("12", "12"), ("12.5", "12.5"), ("007", "007"), ("A12.0", "a12.0"),
     ("Jo\u0308rg", "j\u00f6rg"), ("STRASSE", "strasse"), ("Stra\u00dfe", "strasse")],
)  # fmt: skip
def test_normal_names(name, normal):
    assert normalise_name(name) == normal


def test_pseudonym_is_the_keyed_digest_of_kind_and_name():
    expected = hmac.new(KEY, b"golfer\0ann oak", hashlib.sha256).hexdigest()[:16]

    assert pseudonym("Ann Oak", KEY, "golfer") == f"g{expected}"


def test_kind_and_key_change_the_pseudonym():
    golfer = pseudonym("Oak", KEY, "golfer")

    assert pseudonym("Oak", KEY, "group")[1:] != golfer[1:]
    assert pseudonym("Oak", KEY, "group")[0] == "m"
    assert pseudonym("Oak", b"x" * 32, "golfer") != golfer


def test_mask_keeps_order_and_nulls():
    names = pl.Series(["Bo", None, "Ann", "bo "])

    bo, ann = pseudonym("Bo", KEY, "golfer"), pseudonym("Ann", KEY, "golfer")
    assert mask(names, KEY, "golfer").to_list() == [bo, None, ann, bo]


def test_known_pseudonyms_are_taken_and_new_ones_kept():
    known = {"Ann": "g-known"}

    assert mask(pl.Series(["Ann", "Bo"]), KEY, "golfer", known).to_list() == ["g-known", pseudonym("Bo", KEY, "golfer")]
    assert known == {"Ann": "g-known", "Bo": pseudonym("Bo", KEY, "golfer")}


def test_shot_key_is_of_golfer_and_second_under_a_key_of_its_own():
    golfer = pseudonym("Ann", KEY, "golfer")
    golfers = pl.Series([golfer, golfer, "g2", None, golfer])
    seconds = pl.Series([1785751200, 6, 1785751200, 5, None], dtype=pl.Int64)

    keys = shot_keys(golfers, seconds, KEY).to_list()

    message = hmac.new(KEY, b"shot", hashlib.sha256).digest()[:24] + f"{golfer}|1785751200".encode()
    assert len(message) + 9 <= 64  # a single block of SHA-256, by FIPS 180-4
    assert keys[0] == hashlib.sha256(message).hexdigest()[:32]
    assert len(set(keys[:3])) == 3
    assert keys[3:] == [None, None]
    assert shot_keys(golfers, seconds, b"x" * 32)[0] != keys[0]


@pytest.mark.parametrize(
    "name",
    ["Ann\u200b Oak", "\u202eAnn Oak\u202c", "A\u00adnn Oak", "Ann\u2060 Oak\ufeff", "\u2068Ann Oak\u2069",
     "Ann\u3164 Oak",
     "An\u200cn O\u200dak", "Ann Oak\ufe0f", "Ann Oak\U000e0041"],
)  # fmt: skip
def test_signs_that_nobody_sees_make_no_other_golfer(name):
    assert pseudonym(name, KEY, "golfer") == pseudonym("Ann Oak", KEY, "golfer")


@pytest.mark.parametrize(
    "name",
    [
        "Ann Oak",
        "J\u00f6rg M\u00fcl",
        "\u0639\u0644\u06cc\u200c\u0631\u0636\u0627",
        "\u845b\U000e0100",
        "\u0928\u094d\u200d\u092f",
        "12.0",
    ],
)
def test_names_as_they_are_written_keep_their_pseudonyms(name):
    plain = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold()).replace(".0", "")

    assert normalise_name(name) == plain
