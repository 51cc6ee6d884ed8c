from pipeline.report.page.academy_words import REJECT_WORDS, reject_words, value_words
from pipeline.tables.logs import COLUMN_OF_RULE, REQUIRED, WANTED


def test_every_rule_across_columns_and_every_main_value_has_words():
    assert set(COLUMN_OF_RULE) <= set(REJECT_WORDS)
    assert value_words([*REQUIRED, *WANTED, "set_no"]) == [
        "golfer", "time of the drive", "club speed", "launch", "spin", "carry", "ball speed", "set_no",
    ]  # fmt: skip
    assert reject_words(["missing", "some_new_rule"]) == ["the cell is empty", "some new rule"]
