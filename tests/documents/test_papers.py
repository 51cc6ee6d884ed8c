"""README, DEVELOPERS and docs: short enough, in plain words, with links, paths and settings that are right."""

import re
from functools import cache
from pathlib import Path

import pytest
import yaml
from plain_words import SPELLING, WORDS, without_names, wrong_words
from steps import steps

from pipeline.configuration.layouts import Layout
from pipeline.configuration.load import load_layout, load_study
from pipeline.configuration.study import Study

ROOT = Path(__file__).parents[2]
RESEARCH = "docs/research"  # has an index of its own
PAPERS = sorted(
    path.relative_to(ROOT).as_posix()
    for pattern in ("*.md", "docs/*.md", "docs/research/*.md", "*/README.md", "profiles/*/README.md")
    for path in ROOT.glob(pattern)
)


@cache
def read(name):
    return (ROOT / name).read_text(encoding="utf-8")


def blocks(name, language):
    """Give the code blocks of a language, without the indent of a list that they stand in."""
    found = re.findall(rf"^( *)```{language}\n(.*?)^ *```$", read(name), flags=re.DOTALL | re.MULTILINE)
    return [re.sub(rf"^{indent}", "", text, flags=re.MULTILINE) for indent, text in found]


def prose(name):
    """Give the text without code."""
    return re.sub(r"```.*?```|`[^`]*`", " ", read(name), flags=re.DOTALL)


def test_the_papers_are_there():
    topics = "cluster columns concepts configuration demo evidence faults flight outputs own-study privacy statistics"
    assert {f"docs/{topic}.md" for topic in topics.split()} <= set(PAPERS)
    assert {"README.md", "DEVELOPERS.md", "data_demo/README.md", "results/README.md"} <= set(PAPERS)
    assert "profiles/slurm/README.md" in PAPERS


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_the_first_papers_are_short(name):
    assert len(read(name).splitlines()) <= 150


@pytest.mark.parametrize("name", PAPERS)
def test_the_words_are_plain(name):
    text = without_names(" ".join(prose(name).split()))
    assert wrong_words(text, WORDS | SPELLING) == []


def anchors(path):
    """Give the anchors of a document's headings, as code hosts make them."""
    titles = re.findall(r"^#+ (.+)$", re.sub(r"```.*?```", "", path.read_text(encoding="utf-8"), flags=re.DOTALL), re.M)
    return {re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-") for title in titles}


@pytest.mark.parametrize("name", PAPERS)
def test_every_link_resolves(name):
    for target in re.findall(r"\]\(([^)\s]+)\)", read(name)):
        if target.startswith(("https://", "http://")):
            continue
        file, _, anchor = target.partition("#")
        path = (ROOT / name).parent / file if file else ROOT / name
        assert path.exists(), f"{name}: {target}"
        if anchor:
            assert anchor in anchors(path), f"{name}: {target}"


def test_every_document_is_in_the_readmes_table():
    listed = re.findall(r"^\| \[(.+?)\]\((.+?)\) \|", read("README.md"), flags=re.MULTILINE)
    assert all(text == target for text, target in listed)
    documents = {name for name in PAPERS if name.startswith("docs/")} | {"DEVELOPERS.md"}
    pages = {name for name in documents if name.startswith(f"{RESEARCH}/")} - {f"{RESEARCH}/README.md"}
    assert {target for _, target in listed} == documents - pages
    told = re.findall(r"^\| \[(.+?)\]\((.+?)\) \|", read(f"{RESEARCH}/README.md"), flags=re.MULTILINE)
    assert {f"{RESEARCH}/{target}" for _, target in told} == pages | {f"{RESEARCH}/question.ipynb"}


@cache
def places():
    """Give every file and folder of the code and its tests, from the root."""
    tops = ("pipeline", "tests", "data_demo", "profiles", "docs", ".ci")
    found = [path for top in tops for path in (ROOT / top).rglob("*") if "__pycache__" not in path.parts]
    return {path.relative_to(ROOT).as_posix() for path in found} | set(tops)


@pytest.mark.parametrize("name", PAPERS)
def test_the_code_that_it_names_is_there(name):
    named = re.findall(r"`((?:[\w.-]+/)*[\w-]+\.(?:py|j2))`", read(name))
    if name == "DEVELOPERS.md":
        named += [place.rstrip("/") for place in re.findall(r"`((?:[a-z_]+/)+)`", read(name))]
        assert len(named) > 50
    else:
        # Elsewhere folders are those of a study or of results as well; these are the code's.
        named += [
            place.rstrip("/") for place in re.findall(r"`((?:pipeline|tests|coach|profiles)/[a-z_/]*)`", read(name))
        ]
    for place in named:
        assert any(one == place or one.endswith(f"/{place}") for one in places()), f"{name}: {place}"


def test_the_map_has_every_stage_room_and_step():
    text = read("DEVELOPERS.md")
    stages = re.findall(r"^\| `(\w+)/` \| .*? \| (`.+`) \|$", text, flags=re.MULTILINE)
    named = {step: stage for stage, cell in stages for step in re.findall(r"`(\w+)`", cell)}
    assert named == {step: module.split(".")[1] for step, module in steps().items()}
    folders = {p.parent.relative_to(ROOT / "pipeline").as_posix() for p in (ROOT / "pipeline").rglob("__init__.py")}
    told = set(re.findall(r"`([a-z_/]+)/`", text))
    assert {f for f in folders - {"."} if f not in told and f.removeprefix("report/") not in told} == set()


def checked(tmp_path, text):
    """Load a block of settings as its keys say: a layout, a study, or a part of one."""
    keys = yaml.safe_load(text)
    if "columns" in keys:
        (tmp_path / "layout.yaml").write_text(text, encoding="utf-8")
        return load_layout(tmp_path / "layout.yaml", Layout)
    if "study" not in keys:
        return Study.model_validate({"study": "part", "logs": [{"files": "logs/*.csv"}], **keys})
    (tmp_path / "study.yaml").write_text(text, encoding="utf-8")
    return load_study(tmp_path)[1]


SETTINGS = [(name, text) for name in PAPERS for text in blocks(name, "yaml")]


@pytest.mark.parametrize(("name", "text"), SETTINGS, ids=[f"{name}-{i}" for i, (name, _) in enumerate(SETTINGS)])
def test_the_settings_that_it_prints_are_valid(tmp_path, name, text):
    assert checked(tmp_path, text), name


def test_settings_are_printed_where_a_newcomer_needs_them():
    assert len(blocks("docs/own-study.md", "yaml")) >= 4
    layout = yaml.safe_load((ROOT / "data_demo/layouts/fell.yaml").read_text(encoding="utf-8"))
    (shown,) = [yaml.safe_load(text) for text in blocks("docs/own-study.md", "yaml") if "columns:" in text]
    assert shown["columns"].items() <= layout["columns"].items()
    assert {**shown, "columns": None} == {**layout, "columns": None}
