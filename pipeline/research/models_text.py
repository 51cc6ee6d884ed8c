"""A study's kept models as text: the list, one of them, and what the next run will do."""

from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.configuration.study import StandardAir
from pipeline.fit.verdict import ADOPT, FIRST, KEEP, LAST, NEWEST, PINNED, REFUSED, Choice
from pipeline.shown import number_text

HEADINGS = (
    "number", "id", "quarters", "drives", "golfers", "candidate", "rms error", "verdict", "state", "in use",
)  # fmt: skip
RIGHT = frozenset({"number", "drives", "golfers", "rms error"})
VERDICTS = {FIRST: "first", ADOPT: "adopt", KEEP: "keep the old"}
WHY = {
    NEWEST: "the newest fit",
    REFUSED: "the newest adopted model",
    LAST: "the newest fit, since no adopted model can stand in",
    PINNED: "which is pinned",
}


def list_text(models: Sequence[Mapping[str, Any]], in_use: str | None, following: Choice | None) -> str:
    """Write the list of kept models, oldest first.

    Parameters
    ----------
    models : sequence of mapping
        From `pipeline.research.models_command.about_model`.
    in_use : str or None
        Id of the model that the last finished run measured golfers with.
    following : Choice or None
        What the next run measures them with.
    """
    table = columns_text(HEADINGS, [_row(model) for model in models])
    return f"{table}\n{next_run_text(in_use, following)}"


def _row(model: Mapping[str, Any]) -> tuple[str, ...]:
    use = [word for word, true in (("yes", model["in_use"]), ("pinned", model["pinned"])) if true]
    return (
        str(model["number"]),
        model["id"],
        quarters_text(model["quarters"]),
        f"{model['drives']:,}",
        str(model["golfers"]),
        model["candidate"],
        f"{number_text(model['rmse_yd'], 1)} yd",
        VERDICTS[model["verdict"]],
        state_text(model),
        ", ".join(use),
    )


def state_text(model: Mapping[str, Any]) -> str:
    """Give a model's state, and whether a person decided it."""
    return f"{model['state']} by a person" if model["decided_by_a_person"] else str(model["state"])


def quarters_text(quarters: Sequence[str]) -> str:
    """Shorten quarters to the first and the last where that says all: `2026Q1 to 2026Q3`."""
    places = [4 * int(quarter[:4]) + int(quarter[5:]) for quarter in quarters]
    if len(quarters) > 2 and places[-1] - places[0] == len(quarters) - 1:
        return f"{quarters[0]} to {quarters[-1]}"
    return ", ".join(quarters)


def columns_text(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Write a table in columns of plain text, its headings first; those of `RIGHT` are set to the right."""
    widths = [max(len(line[i]) for line in (headings, *rows)) for i in range(len(headings))]
    lines = [
        "  ".join(
            text.rjust(width) if heading in RIGHT else text.ljust(width)
            for heading, text, width in zip(headings, line, widths, strict=True)
        ).rstrip()
        for line in (headings, *rows)
    ]
    return "\n".join(lines)


def next_run_text(in_use: str | None, following: Choice | None) -> str:
    """Say in a sentence which model the next run measures golfers with."""
    if following is None:
        return "Run snakemake again: it chooses the model in use."
    what = f"{following.id}, {WHY[following.why]}"
    if in_use == following.id:
        until = "" if following.why == PINNED else " unless new logs or settings bring another fit"
        return f"Golfers are measured with {what}. The next run goes on with it{until}."
    return f"Run snakemake again: golfers will be measured with {what}."


def show_text(model: Mapping[str, Any], card: str) -> str:
    """Write what there is to say of a kept model.

    Parameters
    ----------
    model : mapping
        What `pipeline.research.models_command.show_model` gives for JSON.
    card : str
        Its card, of which the beginning is shown.
    """
    because = f" ({model['because']})" if model["because"] else ""
    use = [word for word, true in (("in use", model["in_use"]), ("pinned", model["pinned"])) if true]
    reasons = f": {'; '.join(model['reasons'])}" if model["reasons"] else ""
    against = f", compared with {model['parent']}" if model["parent"] else ""
    changed = [f"{name} {was}, now {now}" for name, (was, now) in sorted(model["versions_changed"].items())]
    facts = {
        "Model": f"{model['id']}, number {model['number']}",
        "State": ", ".join([f"{state_text(model)}{because}", *use]),
        "Verdict": f"{VERDICTS[model['verdict']]}{against}{reasons}",
        "Fitted on": f"{model['drives']:,} drives of {model['golfers']} golfers, {quarters_text(model['quarters'])}",
        "Score": f"{model['candidate']}, rms error {number_text(model['rmse_yd'], 2)} yd on golfers held out",
        "Settings": "; ".join(settings_texts(model["settings"])),
        "Versions that changed since": ", ".join(changed) or "none",
        "Folder": model["folder"],
    }
    return "\n".join([*(f"{name}: {text}" for name, text in facts.items()), "", *_beginning(card)])


def settings_texts(settings: Mapping[str, Any], inside: str = "") -> list[str]:
    """Write settings as `name value`, those of a key with keys as `key.name value`; what is empty is left out."""
    found: list[str] = []
    for name, value in sorted(settings.items()):
        if name == "air" and not inside:
            found.append(f"air {StandardAir.model_validate(value).text}")
        elif isinstance(value, Mapping):
            found += settings_texts(value, f"{inside}{name}.")
        elif value not in (None, [], ()):
            told = ", ".join(map(str, value)) if isinstance(value, list | tuple) else value
            found.append(f"{inside}{name} {told}")
    return found


def _beginning(card: str) -> list[str]:
    """Take a card's lines up to its second section."""
    lines = card.splitlines()
    sections = [place for place, line in enumerate(lines) if line.startswith("## ")]
    return "\n".join(lines[: sections[1]] if len(sections) > 1 else lines).rstrip().splitlines()
