from pipeline.report.summarise_run import pages_lines, summary_lines


def test_summary_tells_what_was_made_refused_and_what_to_open(golfers, scores, sources):
    made = pages_lines("r/report/academy.html", "r/report/lookup.html", "r/golfers/sheets")

    lines = summary_lines(golfers, scores, sources, made, ["  about the model"])

    here = golfers.filter(quarter="2026Q3", flagged=True)
    lost, ranked = (sum(here[name]) for name in ("lost_yd", "ranked_lost_yd"))
    assert lines[1].startswith("Logs: 1 used, 1 refused. Rows: 1,000 = 980 accepted + 14 rejected + 6 duplicates.")
    assert lines[2].startswith("  refused: logs/bay_2.csv: the column")
    assert lines[4] == "  about the model"
    assert lines[5] == (
        f"2026Q3: 40 of 44 golfers assessed, 11 flagged, {lost:.0f} yd lost by them together "
        f"({ranked:.0f} yd with luck taken out)."
    )
    opened = [line.split(":")[0] for line in lines if line.startswith("Open ")]
    assert opened == ["Open r/report/academy.html", "Open r/report/lookup.html", "Open r/golfers/sheets/index.html"]
