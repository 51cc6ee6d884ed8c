"""Reading a study's results for a lookup, and the answer as a small table (an edge module)."""

import json
from pathlib import Path
from typing import Any

from pipeline.benchmark.lookup import Guide
from pipeline.errors import UserError
from pipeline.fit.model import CarryModel

RESULTS = Path("results")
MODEL = Path("model/model.json")
GUIDE = Path("benchmarks/guide.json")


def find_results(given: Path | None) -> Path:
    """Give the folder of a study's results: the given one, else the newest below results/.

    Raises
    ------
    UserError
        If there are none.
    """
    if given is not None:
        if not (given / GUIDE).is_file():
            raise UserError(
                f"{given}: holds no benchmarks; give a study's folder below results/, or run snakemake first."
            )
        return given
    made = [path.parent.parent for path in RESULTS.glob(f"*/{GUIDE}")]
    if not made:
        raise UserError("results: holds no study's benchmarks; run snakemake first, or give the folder by --results.")
    return max(made, key=lambda folder: ((folder / GUIDE).stat().st_mtime_ns, folder.name))


def read_results(folder: Path) -> tuple[str, CarryModel, Guide]:
    """Read what a lookup needs: the study's name, the model, the guide.

    Raises
    ------
    UserError
        If a file is missing or not what the workflow writes.
    """
    try:
        model = json.loads((folder / MODEL).read_text(encoding="utf-8"))
        guide = json.loads((folder / GUIDE).read_text(encoding="utf-8"))
        return str(guide["study"]), CarryModel.from_dict(model["model"]), Guide.from_dict(guide)
    except (OSError, ValueError, KeyError, TypeError):
        raise UserError(f"{folder}: its model or guide can't be read; run snakemake again to make them anew.") from None


def answer_table(study: str, answer: dict[str, Any], given: dict[str, tuple[float | None, str]]) -> str:
    """Write an answer as a small table.

    Parameters
    ----------
    study : str
    answer : dict
        From `look_up`.
    given : dict
        What was given beside club speed: name to value and unit; a null value is left out.
    """
    asked = [f"club speed {answer['club_speed_mph']:g} mph"]
    asked += [f"{name} {value:g} {unit}" for name, (value, unit) in given.items() if value is not None]
    lines = [f"{study}: {', '.join(asked)}"]
    if not answer["supported"]:
        return "\n".join([*lines, f"  no figure: {answer['note']}"])
    rows = [
        ("expected carry", _yards(answer, "expected_carry_yd"), _range(answer, "expected", "nine drives in ten")),
        ("efficient carry", _yards(answer, "efficient_carry_yd"), _range(answer, "efficient", "90 % interval")),
        ("yards available", _yards(answer, "yards_available_yd"), ""),
    ]
    lines += [f"  {name:<17}{value:>8}   {remark}".rstrip() for name, value, remark in rows]
    if answer["launch_window_deg"] is None:
        return "\n".join([*lines, "  no efficient window at this speed"])
    launch, spin = answer["launch_window_deg"], answer["spin_window_rpm"]
    window = f"launch {launch[0]:.1f} to {launch[1]:.1f} deg, spin {spin[0]:.0f} to {spin[1]:.0f} rpm"
    return "\n".join([*lines, f"  {'efficient window':<17}{window}"])


def _yards(answer: dict[str, Any], name: str) -> str:
    return f"{answer[name]:.0f} yd"


def _range(answer: dict[str, Any], name: str, meaning: str) -> str:
    return f"{meaning}: {answer[f'{name}_lo90_yd']:.0f} to {answer[f'{name}_hi90_yd']:.0f} yd"
