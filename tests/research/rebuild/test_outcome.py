from pipeline.research.rebuild.compare import Difference
from pipeline.research.rebuild.outcome import MOST, FileOutcome, Rebuilt, outcome_lines

SAME = FileOutcome("a.csv", "same", ())


def test_the_same_figures_are_counted():
    found = Rebuilt((SAME, FileOutcome("b.parquet", "same figures", ())))

    assert found.same
    exact = "The same figures: 1 of 2 files are the same byte for byte."
    assert outcome_lines(found) == [f"{exact} The other one holds the same figures in other bytes."]


def test_what_differs_most_comes_first():
    small = FileOutcome("small.csv", "other figures", (Difference("column x: 1 of 2 cells differ", 0.001),))
    large = FileOutcome("large.csv", "other figures", (Difference("column x: 1 of 2 cells differ", 12.5),))
    gone = FileOutcome("gone.csv", "missing", ())
    found = Rebuilt((SAME, small, large, gone))

    assert not found.same
    assert outcome_lines(found) == [
        "Other figures: 3 of 4 files differ.",
        "  gone.csv: wasn't made",
        "  large.csv: column x: 1 of 2 cells differ, by 12.5 at most",
        "  small.csv: column x: 1 of 2 cells differ, by 0.001 at most",
    ]


def test_a_file_whose_old_figures_are_gone_says_so():
    found = Rebuilt((FileOutcome("a.csv", "other", ()),))

    assert outcome_lines(found)[1] == (
        "  a.csv: has other content; the run's own file isn't here to compare figures with"
    )


def test_many_files_are_cut_short():
    found = Rebuilt(tuple(FileOutcome(f"{i:02}.csv", "missing", ()) for i in range(MOST + 3)))

    assert outcome_lines(found)[-1] == "  and 3 files more"
