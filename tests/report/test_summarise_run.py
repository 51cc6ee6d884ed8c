from coach_tables import page_tables
from rows import table_of

from pipeline.report.summary.coach_facts import goal_facts, practice_facts, progress_facts
from pipeline.report.summary.summarise_run import (
    coach_lines,
    device_lines,
    in_use_record,
    model_lines,
    pages_lines,
    summary_lines,
)
from pipeline.tables.devices import Devices
from pipeline.tables.goals import Goals, Priorities
from pipeline.tables.practice import Practice
from pipeline.tables.progress import Cohorts


def test_summary_tells_what_was_made_refused_and_what_to_open(golfers, scores, sources):
    made = pages_lines("r/report/academy.html", "r/report/lookup.html")

    lines = summary_lines(golfers, scores, sources, ["Device: unit-B reads like unit-A."], made, ["  about the model"])

    here = golfers.filter(quarter="2026Q3", flagged=True)
    lost, ranked = (sum(here[name]) for name in ("lost_yd", "ranked_lost_yd"))
    assert lines[1].startswith("Logs: 1 used, 1 refused. Rows: 1,000 = 980 accepted + 14 rejected + 6 duplicates.")
    assert lines[2].startswith("  refused: logs/bay_2.csv: the column")
    assert lines[3] == "Device: unit-B reads like unit-A."
    assert lines[5] == "  about the model"
    assert lines[6] == (
        f"2026Q3: 40 of 44 golfers assessed, 11 flagged, {lost:.0f} yd lost by them together "
        f"({ranked:.0f} yd with luck taken out)."
    )
    opened = [line.split(":")[0] for line in lines if line.startswith("Open ")]
    assert opened == ["Open r/report/academy.html", "Open r/report/lookup.html"]


def test_the_model_in_use_and_what_it_has_no_term_for_are_told(model):
    assert model_lines(model, [("device", "unit-C", 1200)]) == [
        "  k0123456789ab, the newest fit: 3,000 drives of 60 golfers, 2026Q2, 2026Q3.",
        "  It has no term for device unit-C (1,200 drives) and takes it for its own reference device.",
    ]


def test_the_record_of_a_run_has_the_model_in_use_without_nesting(model):
    assert in_use_record(model) == {
        "id": "k0123456789ab", "kept": False, "why": "newest", "newest": "k0123456789ab", "because": None,
        "trial": None, "verdict": "first", "held_against": None,
        "fitted_on": {"drives": 3000, "golfers": 60, "quarters": ("2026Q2", "2026Q3")},
    }  # fmt: skip


def test_each_device_has_a_line_with_what_was_found_of_it():
    rows = [
        {"device": name, "reading": reading, "note": f"{name} reads well"}
        for name in ("unit-B", "unit-C")
        for reading in ("club_speed", "launch")
    ]

    assert device_lines(table_of(Devices, rows)) == ["Device: unit-B reads well.", "Device: unit-C reads well."]
    assert device_lines(Devices.create_empty()) == []


def test_progress_goals_and_practice_have_a_line_each(golfers):
    tables = page_tables(golfers)

    lines = coach_lines(
        progress_facts(tables[Cohorts], "2026Q3"),
        goal_facts(tables[Goals], tables[Priorities]),
        practice_facts(tables[Practice], None),
    )

    assert lines == [
        "Progress: 30 golfers compared with an earlier quarter; carry better for 7, worse for 4; yards lost better for "
        "5, worse for 6.",
        "Goals: 40 of 40 golfers have one, 40 not reached yet, median gap 40 yd; to work on first: the strike 40.",
        "Speed practice: 40 golfers, 40 gaining, 40 with a day for the next band.",
    ]


def test_what_is_not_there_has_no_line(golfers):
    tables = page_tables(golfers.head(0))
    goals = goal_facts(tables[Goals], tables[Priorities])
    assert coach_lines(None, goals, None) == ["Goals: 0 of 0 golfers have one, 0 not reached yet."]
    hidden = tables[Cohorts].filter("suppressed").row(0, named=True)
    assert coach_lines(hidden, goals, None)[0].startswith("Progress: too few golfers")
