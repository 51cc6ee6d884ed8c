"""The methods text: its numbers are the tables', and it reads right for studies of every kind."""

import re
from dataclasses import replace

import numpy as np
import polars as pl
import pytest
import yaml
from fitting import candidate_named, fit_to
from frontiers import AIR
from markdown_it import MarkdownIt
from rows import table_of

from pipeline.configuration.study import Study
from pipeline.fit.model import FittedOn
from pipeline.fit.verdict import ASKED, NEWEST, Choice, ModelInUse
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.report.methods.methods_facts import (
    RunTables,
    counted,
    data_facts,
    device_facts,
    efficient_facts,
    flag_facts,
    flight_facts,
    listed,
    model_facts,
)
from pipeline.report.methods.methods_text import REFERENCES, SETS_CITED, methods_text
from pipeline.shown import by_error
from pipeline.statistics.intervals import t_reach
from pipeline.tables.devices import Devices
from pipeline.tables.figures import Scores
from pipeline.tables.golfers import Golfers
from pipeline.tables.logs import Sources

FLIGHT = StudyFlight(
    Calibration("indoor-range-2001", 0.92749, 1.01445, 0.00209, 0.00396, [], 2000, 83, 3.35, 1.0, "fitted"), 1.46
)
PUBLISHED = StudyFlight(
    Calibration("smits-smith-1994", 1.0, 1.0, None, None, [], 0, 0, None, None, "as published"), None
)
USED = ModelInUse(
    Choice("k0123456789ab", NEWEST, "k0123456789ab"), FittedOn(2400, 80, ("2026Q2", "2026Q3")), "first", None
)
VERSIONS = dict.fromkeys(
    ("yardband", "python", "polars", "numpy", "scipy", "statsmodels", "duckdb", "snakemake"), "9.8.7"
)


def settings(**more):
    study = Study.model_validate({"study": "hill-school", "logs": [{"files": "a.csv"}], **more})
    return study.model_dump(mode="json")


def scored(*rows):
    columns = ("model", "terms", "rmse_yd", "rmse_std_error_yd", "coverage90", "chosen")
    return table_of(Scores, [dict(zip(columns, row, strict=True)) for row in rows])


SCORES = scored(
    ("line", 5, 18.2375, 1.787, 0.898, False),
    ("quadratic", 11, 4.9279, 0.332, 0.8984, True),
    ("splines", 39, 4.7835, 0.2498, 0.899, False),
)


@pytest.fixture(scope="module")
def model(world):
    found = fit_to(candidate_named("quadratic"), world.drives).model
    return replace(found, offset_share=np.array([-0.02003]), offset_std_error=np.array([0.00068]))


def source(name, **more):
    return {"source": name, "status": "used", "rows": 0, "accepted": 0, "rejected": 0, "duplicates": 0, **more}


def golfers_of(count, flagged=(), unassessed=()):
    """Make golfers, every other one of an earlier quarter where they are many."""
    rows = [
        {
            "golfer": f"g{k:016x}",
            "quarter": "2026Q2" if count > 10 and k % 2 == 0 else "2026Q3",
            "flagged": k in flagged,
            "status": "not_assessed" if k in unassessed else "flagged" if k in flagged else "clear",
            "p_value": None if k in unassessed else 0.01,
            "q_value": None if k in unassessed else 0.02,
            "note": "few drives" if k in unassessed else None,
        }
        for k in range(count)
    ]
    return table_of(Golfers, rows)


TABLES = RunTables(
    table_of(
        Sources,
        [
            source("a.csv", rows=2000, accepted=1950, rejected=41, duplicates=9),
            source("b.csv", rows=600, accepted=598, rejected=1, duplicates=1),
            source("c.csv", status="refused", reason="empty"),
        ],
    ),
    table_of(Devices, [{"device": "unit-B", "reading": "launch", "difference": 0.4, "std_error": 0.3}]),
    golfers_of(81, flagged=(3, 5)),
    SCORES,
    pl.DataFrame({"device": ["unit-A", "unit-B"], "ball": ["premium"] * 2, "drives": [1500, 1048]}),
)


def facts_of(carry, frontier, tables=TABLES, used=USED, flight=FLIGHT, replicates=200, **more):
    asked = settings(**more)
    return {
        "title": asked["study"],
        "code": "release 0.1.0",
        "versions": VERSIONS,
        **data_facts(tables, used, carry.surface.speed),
        **device_facts(tables.devices, carry),
        **flight_facts(flight, AIR),
        **model_facts(carry, tables.scores, used, replicates, asked),
        **efficient_facts(frontier, carry, asked),
        **flag_facts(tables.golfers, asked),
    }


@pytest.fixture(scope="module")
def text(model, academy):
    return methods_text(facts_of(model, academy.frontier))


def test_the_numbers_are_the_tables(text, academy):
    for said in (
        "2,548 drives of 81 golfers were analyzed, from 2 logs of quarters 2026Q2 and 2026Q3, measured by 2 devices "
        "(unit-A and unit-B) with 1 kind of ball (premium).",
        "Of 2,600 rows, 42 were rejected by bounds",
        "; 10 were duplicates. 1 log was refused as a whole.",
        "least squares with a soft L1 loss: drag 0.9275 ± 0.0021, lift 1.014 ± 0.004 (± standard error, here "
        "and below).",
        "Readings of 1 other device were compared with those of unit-A before any fit; none was clearly off.",
        "had a term, a share of carry: device unit-B -2.00 ± 0.07 %.",
        "The fit k0123456789ab used 2,400 drives of 80 golfers; 148 accepted drives without ball speed or a measured "
        "spin could not be in it.",
        "in 10 folds of golfers: line 18.2 ± 1.8 yd, quadratic 4.9 ± 0.3 yd and splines 4.78 ± 0.25 yd.",
        "was chosen (Breiman et al. 1984): quadratic (11 terms).",
        "Of drives held out, 89.8 % lay inside",
        "struck with the speed ratio that 75 % of those golfers are below",
        "In 2026Q3, 40 of 40 golfers could be assessed; 2 were flagged.",
        "Yardband 9.8.7 (release 0.1.0), Python 9.8.7",
    ):
        assert said in text, said
    reached = academy.frontier
    for centre in (80.0, 100.0):
        carry, error = (float(reached.at(name, centre)) for name in ("carry_yd", "std_error_yd"))
        low, high = (by_error(float(reached.at(name, centre)), error) for name in ("lo90_yd", "hi90_yd"))
        assert f"{by_error(carry, error)} ({low} to {high}) at {centre:g} mph" in text


def test_intervals_have_the_studys_level(model, academy):
    text = methods_text(facts_of(model, academy.frontier, intervals={"level": 0.5}))
    carry, error, freedom = (float(academy.frontier.at(name, 90)) for name in ("carry_yd", "std_error_yd", "freedom"))
    low, high = (by_error(carry + sign * t_reach(freedom, 0.5) * error, error) for sign in (-1, 1))
    assert "Efficient carry in yd (50 % interval) was " in text
    assert f"({low} to {high}) at 90 mph" in text


def test_a_small_study_reads_right(world, academy):
    one_device = world.drives.with_columns(device=pl.lit("unit-A"))
    club = fit_to(candidate_named("quadratic", "club"), one_device).model
    tables = RunTables(
        table_of(Sources, [source("a.csv", rows=101, accepted=100, rejected=1)]),
        Devices.create_empty(),
        golfers_of(9, flagged=(1,), unassessed=(0,)),
        scored(("line", 4, 18.2, 1.8, 0.898, True)),
        pl.DataFrame({"device": ["unit-A"], "ball": [None], "drives": [100]}, schema_overrides={"ball": pl.String}),
    )
    used = replace(USED, fitted_on=FittedOn(99, 9, ("2026Q3",)))
    text = methods_text(facts_of(club, academy.frontier, tables, used, PUBLISHED, bands={"centres": [140]}))
    for said in (
        "from 1 log of quarter 2026Q3, measured by 1 device (unit-A). Of 101 rows, 1 was rejected by",
        "for the ball speed; there were no duplicates. Golfers had",
        "taken as published, since too few drives were there to fit multipliers.",
        "Carry was modeled over club speed",
        "The only candidate was a straight line in each input (line).",
        "a share of carry; there were none.",
        "; 1 accepted drive without a measured spin could not be in it.",
        "in 9 folds of golfers",
        "struck as well as the golfer whom 75 % of golfers are below",
        "No band had enough golfers for an efficient carry.",
        "In 2026Q3, 8 of 9 golfers could be assessed; 1 was flagged.",
        "- Smits and Smith, Science and Golf II (1994) 340",
    ):
        assert said in text, said
    assert "Readings of" not in text
    assert "Harrell" not in text
    assert "patent" not in text
    assert not re.search(r"\b1 (\w+ )?(devices|logs|quarters|drives|golfers|rows|duplicates|terms|folds)\b", text)


def test_what_was_put_right_is_named(model, academy):
    rows = [
        {"device": "unit-B", "reading": "club_speed", "difference": 0.02, "corrected": True},
        {"device": "unit-B", "reading": "launch", "difference": 0.1},
        {"device": "unit-C", "reading": "launch"},
    ]
    tables = replace(TABLES, devices=table_of(Devices, rows))
    text = methods_text(facts_of(model, academy.frontier, tables))
    assert "before any fit; what was clearly off was put right (club speed of unit-B)." in text
    assert "Those of 1 other device could not be compared." in text


def test_a_kept_model_and_a_named_one_are_said(model, academy):
    kept = ModelInUse(Choice("kfedcba987654", ASKED), FittedOn(900, 40, ("2025Q4",)))
    text = methods_text(facts_of(model, academy.frontier, used=kept, model={"choose": "quadratic"}))
    assert "The model is kfedcba987654, fitted earlier to 900 drives of 40 golfers (quarter 2025Q4)" in text
    assert "quadratic (11 terms) was named as the model beforehand, whatever the scores." in text
    assert "folds of golfers" not in text


def test_names_from_logs_break_nothing(model, academy):
    levels = pl.DataFrame({"device": ["a\n\n# b|c"], "ball": ["{{ 7*7 }}"], "drives": [10]})
    text = methods_text(facts_of(model, academy.frontier, replace(TABLES, levels=levels)))
    assert r"1 device (a # b&#124;c) with 1 kind of ball ({{ 7\*7 }})" in text
    assert "\n# b" not in text


def test_names_from_logs_are_no_markup(model, academy):
    levels = pl.DataFrame({"device": ["<script>x</script>"], "ball": ["*soft* `x`"], "drives": [10]})
    text = methods_text(facts_of(model, academy.frontier, replace(TABLES, levels=levels)))
    page = MarkdownIt("commonmark", {"html": True}).render(text)
    assert "1 device (&lt;script&gt;x&lt;/script&gt;) with 1 kind of ball (*soft* `x`)" in page
    assert "<script" not in page


def test_it_is_as_long_as_a_methods_section_and_has_no_gaps(text):
    body = text.split("## References")[0]
    assert 500 <= len(body.split()) <= 770
    assert re.findall(r"  |\( | ,| \.(?!\d)|\.\.|,,|;;|None|nan", text) == []
    assert text.endswith("\n")
    assert not text.endswith("\n\n")


def test_every_citation_has_its_reference_and_every_reference_its_citation(text):
    body, references = text.split("## References")
    cited = [citation for citation in REFERENCES if citation in body]
    assert [f"- {REFERENCES[citation]}" for citation in cited] == references.strip().splitlines()
    assert len(cited) >= 9
    years = set(re.findall(r"[A-Z]\w+(?: et al\.| and [A-Z]\w+)? \(?(?:19|20)\d\d\)?", body)) - {"In 2026"}
    assert {one for one in years if not any(one in citation or citation in one for citation in REFERENCES)} == set()
    assert set(SETS_CITED.values()) <= set(REFERENCES)


def test_references_are_those_of_the_docs(root_docs):
    for reference in REFERENCES.values():
        doi = re.search(r"10\.\d{4,}/\S+", reference)
        known = doi.group(0) if doi else reference.split(" (")[0].split(", example")[0]
        assert known in root_docs, known


@pytest.fixture(scope="module")
def root_docs(request):
    docs = request.config.rootpath / "docs"
    texts = [(docs / f"{name}.md").read_text(encoding="utf-8") for name in ("statistics", "flight")]
    return " ".join(" ".join(texts).split())


@pytest.mark.parametrize(
    ("value", "error", "shown"),
    [
        (3.1747, 0.0845, "3.17"),
        (18.2375, 1.787, "18.2"),
        (0.92749, 0.00209, "0.9275"),
        (1.01445, 0.00396, "1.014"),
        (223.76, 0.62, "223.8"),
        (223.76, 0.295, "223.8"),
        (223.76, 0.294, "223.76"),
        (1234.5, 12.0, "1,235"),
        (1234.5, 0.0, "1,235"),
        (0.0123456, float("nan"), "0.01235"),
        (-0.00004, 0.01, "0.000"),
    ],
)
def test_figures_are_rounded_by_their_standard_error(value, error, shown):
    assert by_error(value, error) == shown


def test_numbers_have_their_nouns():
    assert counted(1, "device") == "1 device"
    assert counted(2000, "kind of ball", "kinds of ball") == "2,000 kinds of ball"
    assert listed(["a"]) == "a"
    assert listed(["a", "b", "c"]) == "a, b and c"


def test_the_citation_file_is_valid_and_agrees_with_the_project(request):
    import tomllib

    root = request.config.rootpath
    cited = yaml.safe_load((root / "CITATION.cff").read_text(encoding="utf-8"))
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    # Required by CFF 1.2.0 (from memory), with the types and the other keys that it knows.
    assert {"cff-version", "message", "title", "authors"} <= set(cited)
    assert set(cited) <= {"cff-version", "message", "title", "authors", "version", "type", "abstract", "keywords"}
    assert cited["cff-version"] == "1.2.0"
    assert cited["type"] in ("software", "dataset")
    assert [list(author) for author in cited["authors"]] == [["name"]]
    assert cited["title"] == "Yardband"
    assert cited["version"] == project["version"]
    assert cited["abstract"] == project["description"]
    assert isinstance(cited["version"], str)
    assert "license" not in project
