"""Words of names and of texts that may hold names, in every spelling that counts as the same (pure).

Two spellings are compared word by word, without letter case, accents and marks. A text has several readings: a letter
such as ü may stand for u or ue, Cyrillic and Greek letters for Latin ones by their sound or by their look, and an
apostrophe or a hyphen may part a word or not.
"""

import re
import unicodedata
from itertools import pairwise

from pipeline.collect.pseudonym import normalise_name

_WORDS = re.compile(r"[^\W_]+")
# Where a word begins without a space, in ASCII; `parted` says it of all signs.
_BEGINS = re.compile("(?<=[a-z])(?=[A-Z])|(?<=[A-Za-z])(?=[0-9])|(?<=[0-9])(?=[A-Za-z])")
_APOSTROPHES = dict.fromkeys(map(ord, "\u2018\u2019\u201b\u02bc\u02bb\u02b9\u00b4`\u2032\uff07\u055a"), "'")
_JOINING = re.compile(r"(?<=[^\W_])['\u2010\u2011\u00ad-](?=[^\W_])")
# Letters that Unicode doesn't take apart.
_PLAIN_LETTERS = str.maketrans(
    {
        "ø": "o",
        "ł": "l",
        "đ": "d",
        "ð": "d",
        "þ": "th",
        "æ": "ae",
        "œ": "oe",
        "\u0131": "i",
        "ħ": "h",
        "ŧ": "t",
        "ŋ": "n",
    }
)
_TWO_LETTERS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "å": "aa", "ø": "oe"})
# By sound: the usual English spelling of Russian, with Ukrainian and Serbian letters, and of Greek. From memory; others
# are in use too, so a name in another spelling of the other script isn't found.
_BY_SOUND = str.maketrans(
    dict(zip("абвгдезийклмнопрстуфэыіґјљњћђџѕё", "abvgdeziyklmnoprstufeyigjlncddse", strict=True))
    | {"ж": "zh", "\u0445": "kh", "ц": "ts", "ч": "ch", "ш": "sh", "щ": "shch", "ъ": "", "ь": "", "ю": "yu", "я": "ya"}
    | {"є": "ye", "ї": "yi"}
    | dict(zip("αβγδεζηικλμνξοπρσςτυφωάέήίόύώ", "avgdeziiklmnxoprsstyfoaeiioyo", strict=True))
    | {"θ": "th", "χ": "ch", "ψ": "ps"}
)
_ONE_SOUND = re.compile("\u03bf[\u03c5\u03cd]")  # of two Greek letters
# By look, capital letters or small ones.
_BY_LOOK = str.maketrans(
    dict(zip("авекмнорстухіѕјԁԛԝһ", "abekmhopctyxisjdqwh", strict=True))
    | dict(zip("αβεζηικμνορτυχ", "abezhikmnoptyx", strict=True))
)
# Scripts whose texts run words together: Thai, Lao, Khmer, Burmese, kana, Han and Hangul.
_UNSPACED = re.compile(
    "^[\u0e00-\u0eff\u1000-\u109f\u1780-\u17ff\u3040-\u30ff\u3400-\u4dbf\u4e00-\u9fff\uac00-\ud7af\u1100-\u11ff"
    "\U00020000-\U0003ffff]+$"
)


def readings_of(text: str) -> list[str]:
    """Give a text's readings without case, accents and marks: first as written, then with letters spelt otherwise."""
    if text.isascii():
        return [_folded(text)]
    even = normalise_name(text.translate(_APOSTROPHES))
    by_sound = _ONE_SOUND.sub("ou", even).translate(_BY_SOUND)
    read = [even, even.translate(_TWO_LETTERS), by_sound, even.translate(_BY_LOOK)]
    return list(dict.fromkeys(_folded(one) for one in read))


def parted(text: str) -> str:
    """Put a space where a word begins without one, as in bayOak and Oak2."""
    if text.isascii():  # as most are, for a tenth of the time
        return _BEGINS.sub(" ", text)
    even = unicodedata.normalize("NFKC", text)
    begins = [
        (sign.islower() and after.isupper())
        or (sign.isalpha() and after.isdigit())
        or (sign.isdigit() and after.isalpha())
        for sign, after in pairwise(even)
    ]
    return "".join(f"{sign} " if begin else sign for sign, begin in zip(even, [*begins, False], strict=False))


def spellings_of(reading: str) -> list[tuple[str, ...]]:
    """Give the words of one of `readings_of`: with apostrophes and hyphens between words, and inside of words."""
    apart, without = tuple(_WORDS.findall(reading)), _JOINING.sub("", reading)
    joined = apart if without == reading else tuple(_WORDS.findall(without))
    return [apart] if apart == joined else [apart, joined]


def alike_key(name: str) -> str | None:
    """Give what names have in common that differ by the order of their words, accents and marks alone.

    None of a name without two letters, such as a member's number.
    """
    words = spellings_of(readings_of(name)[0])[-1]
    return " ".join(sorted(words)) if sum(map(str.isalpha, "".join(words))) > 1 else None


def runs_together(word: str) -> bool:
    """Tell whether a word is of a script that has no spaces between words."""
    return not word.isascii() and _UNSPACED.match(word) is not None


def _folded(text: str) -> str:
    apart = unicodedata.normalize("NFKD", normalise_name(text))
    if not (apart.isascii() and apart.isprintable()):
        apart = "".join(sign for sign in apart if unicodedata.category(sign)[0] not in "MC").translate(_PLAIN_LETTERS)
    return unicodedata.normalize("NFC", apart)  # Hangul's parts as one sign again
