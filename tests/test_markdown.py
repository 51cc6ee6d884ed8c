import pytest
from markdown_it import MarkdownIt

from pipeline.markdown import shown_text

HOSTILE = [
    "<script>alert(1)</script>", "<img src=x onerror=alert(1)>", "a|b", "*bold* **bolder**", "_a_ __b__ unit_A_2",
    "`code`",
    "[x](javascript:alert(1))", "![x](y)", "\\*", "\\", "&lt;b&gt; &amp;", "~~gone~~",
    "<!-- -->", "a\\|b", "``` x", "$x$", "unit-A",
]  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_a_foreign_text_is_shown_as_it_is(name):
    page = MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"])

    [inline] = [token for token in page.parse(f"- device {shown_text(name)}: 2") if token.type == "inline"]
    row = [token for token in page.parse(f"|a|b|\n|-|-|\n|{shown_text(name)}|2|") if token.type == "inline"]

    assert {token.type for token in inline.children} <= {"text", "text_special"}
    assert "".join(token.content for token in inline.children) == f"device {name}: 2"
    assert len(row) == 4
    assert "".join(token.content for token in row[2].children) == name


def test_a_foreign_text_stays_on_its_line():
    assert shown_text("a\n\n# b\tc\r\n- d") == "a # b c - d"


def test_plain_names_stay_as_they_are():
    assert shown_text("unit-A_2 (old), 9.5 deg") == "unit-A_2 (old), 9.5 deg"
