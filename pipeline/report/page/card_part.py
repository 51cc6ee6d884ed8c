"""The model card as a tree of elements: the page's script builds them one by one, so no text can become markup."""

from typing import TypeAlias

from markdown_it import MarkdownIt
from markdown_it.tree import SyntaxTreeNode

# An element is its tag and its children; a text stands for itself.
Element: TypeAlias = "str | list[Element]"

# What a card may be made of. Anything else, such as a link or a picture, leaves its text alone.
TAGS = frozenset(
    {"h1", "h2", "h3", "h4", "p", "ul", "ol", "li", "table", "thead", "tbody", "tr", "th", "td", "strong", "em",
     "code", "pre", "blockquote", "hr"}
)  # fmt: skip
PLAIN = ("text", "html_block", "html_inline")


def card_part(text: str) -> list[Element]:
    """Parse a card.

    Parameters
    ----------
    text : str
        Markdown: CommonMark with tables. HTML in it is text like any other.

    Returns
    -------
    list
        Elements and texts, such as `[["h1", "Carry model"], ["p", "On ", ["code", "drives"]]]`.
    """
    parser = MarkdownIt("commonmark", {"html": False}).enable("table")
    return _children(SyntaxTreeNode(parser.parse(text)))


def _children(node: SyntaxTreeNode) -> list[Element]:
    found: list[Element] = []
    for child in node.children:
        found += _built(child)
    return found


def _built(node: SyntaxTreeNode) -> list[Element]:
    if node.type in PLAIN or node.type == "image":
        return [node.content] if node.content else []
    if node.type in ("softbreak", "hardbreak"):
        return ["\n"]
    if node.type == "code_inline":
        return [["code", node.content]]
    if node.type in ("fence", "code_block"):
        return [["pre", node.content]]
    inside = _children(node)
    # A list without blank lines has paragraphs that markdown hides.
    return [[node.tag, *inside]] if node.tag in TAGS and not node.hidden else inside
