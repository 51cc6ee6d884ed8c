"""How Yardband doesn't write, and the sentences that it writes: in code, templates and the workflow."""

import ast
import re
from pathlib import Path

# What to write instead stands on the right.
WORDS = {
    r"\b(hold|holds|held|holding)( \S+){0,4} against\b": "compare with",
    r"\b(hang|hangs|hung|hanging) on\b": "depends on",
    r"\bnil\b": "zero",
    r"(?<!there )\b(is|are) no (JSON|YAML|valid|known|standard|word|number|step|key file|record)\b": "isn't",
    r"\btells\b": "says, shows",
    r"\btold\b": "reported",
    r"(?<!can't )\btell\b": "say, show",
    r"\banew\b": "again",
    r"\bwork(s|ed|ing)? out\b": "calculate",
    r"\bholds? (zero|the true|the truth)\b": "includes zero, covers the true value",
    r"\bholding the truth\b": "covers the true value",
    r"\breads? (\S+ ){0,3}(short|long)\b": "under-reads, over-reads",
    r"\bleft alone\b": "not changed",
    r"\bmend(s|ed|ing)?\b": "correct",
    r"\brefused with one sentence\b": "rejected with a one-line error",
    r"\bnine (\S+ )?in ten\b": "9 in 10",
    r"\btaken as usual\b": "set to what is typical",
    r"\bsafety design\b": "Don't use them to design ranges, nets or fences",
    r"\bto be had\b": "left to give",
    r"\bworth while\b": "worth it",
    r"\bin no interval\b": "the interval doesn't cover that",
    r"\bif anything\b": "the likeliest place",
    r"\bcarry and run\b": "carry and roll",
}
# British spelling; identifiers, whose words an underscore or a point joins, keep theirs.
SPELLING = {
    r"\b(standardis|pseudonymis|generalis|recognis|normalis|optimis|summaris|organis|penalis|randomis)\w+": "-ize",
    r"\b(practis(e[sd]?|ing)|colours?|neighbours?|behaviours?|metres? called|learnt|programme|grey|centres?)\b": "-",
    r"\b(to|up|down|back|for)wards\b": "toward, upward",
}


def wrong_words(text: str, words: dict[str, str]) -> list[tuple[str, str]]:
    """Give the words of a text that are in the list, each with what to write instead."""
    return [(hit.group(0), better) for word, better in words.items() for hit in re.finditer(word, text, re.IGNORECASE)]


def without_names(text: str) -> str:
    """Take names out: what stands in backticks, and words joined by an underscore or a point."""
    return re.sub(r"`[^`]*`|\b\w+(?:[_.]\w+)+\b", " ", text)


def code_sentences(source: str, help_texts: bool = False) -> list[str]:
    """Give the strings of Python code that have a space; of docstrings only those that commands show as their help.

    A value in an f-string gives a space.
    """
    tree = ast.parse(source)
    hidden = {id(one.value) for one in ast.walk(tree) if isinstance(one, ast.Expr)}
    if help_texts:
        commands = (one for one in ast.walk(tree) if isinstance(one, ast.FunctionDef) and one.decorator_list)
        hidden -= {id(one.body[0].value) for one in commands if isinstance(one.body[0], ast.Expr)}
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            hidden |= {id(part) for part in node.values}
            found.append("".join(str(p.value) if isinstance(p, ast.Constant) else " " for p in node.values))
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in hidden:
            found.append(node.value)
    return _spoken(found)


def template_sentences(source: str) -> list[str]:
    """Give what a template shows: its text without tags and styles, and the strings of its tags."""
    shown = re.sub(r"<style.*?</style>|\{#.*?#\}", " ", source, flags=re.DOTALL)
    inserted = re.findall(r"\{[{%].*?[}%]\}", shown, flags=re.DOTALL)
    strings = [text for one in inserted for text in re.findall(r'"([^"]*)"', one)]
    shown = re.sub(r"\{[{%].*?[}%]\}", " ", shown, flags=re.DOTALL)
    strings += re.findall(r'(?:alt|title|aria-label|content)="([^"]*)"', shown)
    return _spoken([*strings, re.sub(r"<[^>]*>", " ", shown)])


def script_sentences(source: str) -> list[str]:
    """Give the strings of a script that have a space; of a comment nothing."""
    code = re.sub(r"^\s*//.*$|\s// .*$", "", source, flags=re.MULTILINE)
    strings = [quoted or filled for quoted, filled in re.findall(r'"([^"\n]*)"|`([^`]*)`', code)]
    return _spoken([re.sub(r"\$\{[^}]*\}", " ", text) for text in strings])


def rule_sentences(source: str) -> list[str]:
    """Give the strings of rules that have a space: messages and captions among them."""
    return _spoken(re.findall(r'"([^"\n]*)"', source))


def _spoken(strings: list[str]) -> list[str]:
    return [" ".join(without_names(text).split()) for text in strings if " " in text.strip()]


def sentences(path: Path) -> list[str]:
    """Give what a file of the code says to users."""
    source = path.read_text(encoding="utf-8")
    if path.suffix == ".py":
        return code_sentences(source, help_texts=path.name == "cli.py")
    if path.suffix == ".j2":
        return template_sentences(source)
    if path.suffix == ".js":
        return script_sentences(source)
    return rule_sentences(source)
