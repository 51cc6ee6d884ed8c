import pytest

from pipeline.fit.setting_changes import NO_CHANGES, setting_changes

OLD = {"efficient": {"strike": 0.75, "deliveries": 0.8}, "model": {"regressors": [], "folds": 10}, "seed": 1}
NEW = {"efficient": {"strike": 0.9, "deliveries": 0.8}, "model": {"regressors": ["attack_deg"], "folds": 10}, "seed": 1}


def test_changed_settings_are_told_by_their_keys():
    found = setting_changes(OLD, NEW)
    assert found.sentences == [
        "Settings differ: efficient.strike was 0.75, is 0.9; model.regressors was none, is attack_deg."
    ]


def test_the_same_settings_say_nothing():
    assert setting_changes(OLD, OLD) == NO_CHANGES
    assert NO_CHANGES.sentences == []
    # JSON has lists alone, and an empty one is as good as none.
    assert (
        setting_changes(
            {"model": {"candidates": ("line",), "formulas": {}}}, {"model": {"candidates": ["line"], "formulas": None}}
        )
        == NO_CHANGES
    )


def test_what_is_told_elsewhere_is_left_out():
    old, new = ({"air": {"temp_c": t}, "readings": device, "seed": 1} for t, device in ((15, "A"), (25, "B")))
    assert setting_changes(old, new) == NO_CHANGES


def test_keys_of_one_record_alone_are_named_without_a_value():
    found = setting_changes({"seed": 1, "gone": 3}, {"seed": 1, "model": {"folds": 10}})
    assert found.sentences == [
        "The old model's record doesn't have model.folds.",
        "The new model's record doesn't have gone.",
    ]


@pytest.mark.parametrize(
    ("was", "now", "told"),
    [(None, "x", "a was none, is x"), (True, False, "a was yes, is no"), (5, 5.5, "a was 5, is 5.5"),
     (["a", "b"], ["b"], "a was a, b, is b")],
)  # fmt: skip
def test_values_are_written_plainly(was, now, told):
    assert setting_changes({"a": was}, {"a": now}).sentences == [f"Settings differ: {told}."]
