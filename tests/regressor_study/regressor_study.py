"""How often regressors are rightly and wrongly said to matter; a study of its own, `snakemake regressor_study`.

Outputs, committed under docs/evidence/regressors: rates.csv (one row per kind of world and regressor) and README.md. No
study folder is needed: every world is drawn anew from its number.
"""

import sys
from pathlib import Path

import numpy as np
import polars as pl
from regressor_worlds import ATTACK_SHARE, NUISANCES, regressor_world

from pipeline.drives import Drives
from pipeline.edge.files import write_csv, write_text
from pipeline.fit.candidates import Candidate, candidates_for
from pipeline.fit.factored import Factored, fit_candidate
from pipeline.fit.regressor_effects import judge_effects
from pipeline.fit.survey import Survey
from pipeline.fit.usual_delivery import fit_usual_delivery
from pipeline.markdown import markdown_lines
from pipeline.statistics.intervals import Estimate

WORLDS = 200
SIZES = {"small": {"golfers": 30, "shots": 8}, "demo's size": {"golfers": 83, "shots": 24}}
MISREAD = 0.3
CONFOUNDED = 0.008  # share of carry that golfers have for a degree of their mean attack, for other reasons

HEAD = """\
# How often a regressor is said to matter
Made by `snakemake --cores 1 --force regressor_study`, which takes a minute or two. {worlds} invented worlds of each
kind: golfers differ for good by 1.5 % of carry and are unequally often seen, carry scatters by 3 yd, two devices differ
by 3 %. The model is the quadratic over ball speed. `rates.csv` has the figures in full; `std_error` is the Monte Carlo
error.

## Regressors that do nothing
One varies by drive, one is the same for a golfer, one varies by both. Of each, the share of worlds with p < 0.05, which
should be 5 %, the same by the plain errors by golfer of a fit's other terms, and the share with any of the three said
to matter (q < 0.05).

{nothing}
## An attack angle that does nothing
Golfers who attack upward launch higher and spin less. Where launch is misread by {misread} deg and spin by {spin} %,
attack could stand for a part of what the readings miss.

{proxy}
## An attack angle that adds 0.4 % of carry a degree, beyond launch and spin
The share of worlds in which it is said to matter, and in which the 90 % interval holds the truth. In the confounded
worlds, golfers who attack upward also carry farther for other reasons, by 0.8 % a degree: the effect over all drives is
then not the drive's own, the one within golfers is, and the note should say so.

{planted}
"""


def judged(drives: pl.DataFrame, *names: str) -> dict[str, dict[str, object]]:
    """Judge regressors beside the quadratic over ball speed."""
    survey = Survey.of(Drives.of(drives), 1, regressors=names)
    return judge_effects(names, Factored.of(survey, quadratic().surface(survey.extents)), survey)


def quadratic() -> Candidate:
    """Give the quadratic over ball speed."""
    return next(one for one in candidates_for("ball") if one.name == "quadratic")


def plain_p(drives: pl.DataFrame) -> list[float]:
    """Give p values by the plain errors by golfer, as the other terms of a fit have them."""
    survey = Survey.of(Drives.of(drives), 1, regressors=NUISANCES)
    factored = Factored.of(survey, quadratic().surface(survey.extents))
    fit = fit_candidate(factored, survey, fit_usual_delivery(survey.typical)).fit
    freedom = np.full(len(fit.coefficients), float(survey.typical.height - len(fit.coefficients)))
    return Estimate(fit.coefficients, fit.std_errors, freedom).p_value[-len(NUISANCES) :].tolist()


def nothing_rows(size: str, worlds: int) -> list[dict[str, object]]:
    """Count how often regressors that do nothing have p < 0.05, and any of them is said to matter."""
    found = [judged(regressor_world(seed, **SIZES[size]), *NUISANCES) for seed in range(worlds)]
    rows = [
        {
            "world": size,
            "regressor": name,
            "quantity": "p below 0.05",
            **share(row[name]["p_value"] < 0.05 for row in found),
        }
        for name in NUISANCES
    ]
    plain = [plain_p(regressor_world(seed, **SIZES[size])) for seed in range(worlds)]
    rows += [
        {"world": size, "regressor": name, "quantity": "the same by plain errors", **share(p < 0.05 for p in column)}
        for name, column in zip(NUISANCES, np.transpose(plain), strict=True)
    ]
    matters = share(any(row[name]["verdict"] == "matters" for name in NUISANCES) for row in found)
    return [*rows, {"world": size, "regressor": "any of the three", "quantity": "said to matter", **matters}]


def proxy_rows(size: str, worlds: int) -> list[dict[str, object]]:
    """Count how often an attack that does nothing is said to matter, launch and spin read without and with error."""
    rows = []
    for world, misread in ((f"{size}, exact readings", 0.0), (f"{size}, readings with errors", MISREAD)):
        drawn = (regressor_world(seed, **SIZES[size], misread=misread) for seed in range(20_000, 20_000 + worlds))
        found = [judged(drives, "attack_deg")["attack_deg"] for drives in drawn]
        about = {"world": world, "regressor": "attack_deg"}
        rows.append({**about, "quantity": "said to matter", **share(row["verdict"] == "matters" for row in found)})
        values = np.abs([float(row["yd_per_sd"]) for row in found])
        figures = {"worlds": worlds, "figure": float(values.mean()), "std_error": float(values.std() / np.sqrt(worlds))}
        rows.append({**about, "quantity": "yards for one standard deviation, without sign", **figures})
    return rows


def planted_rows(size: str, worlds: int, confounded: float) -> list[dict[str, object]]:
    """Count how often a planted effect is found and its intervals hold the truth."""
    seeds = range(10_000, 10_000 + worlds)
    drawn = (regressor_world(s, **SIZES[size], attack_share=ATTACK_SHARE, confounded=confounded) for s in seeds)
    found = [judged(drives, "attack_deg")["attack_deg"] for drives in drawn]
    z90 = 1.645
    counted = {
        "said to matter": (row["verdict"] == "matters" for row in found),
        "interval holds the truth": (row["lo90"] <= ATTACK_SHARE <= row["hi90"] for row in found),
        "interval within golfers holds the truth": (
            abs(row["within_estimate"] - ATTACK_SHARE) <= z90 * row["within_std_error"] for row in found
        ),
        "note: within golfers it is another": (str(row.get("note")).startswith("Within golfers") for row in found),
    }
    world = f"{size}, confounded" if confounded else size
    rows = [{"world": world, "regressor": "attack_deg", "quantity": name, **share(of)} for name, of in counted.items()]
    for column, name in (
        ("estimate", "mean estimate over the truth"),
        ("within_estimate", "mean within golfers over it"),
    ):
        values = np.array([row[column] for row in found], dtype=float) / ATTACK_SHARE
        error = float(values.std(ddof=1) / np.sqrt(worlds))
        figures = {"worlds": worlds, "figure": float(values.mean()), "std_error": error}
        rows.append({"world": world, "regressor": "attack_deg", "quantity": name, **figures})
    return rows


def share(marks) -> dict[str, object]:
    """Give the share of worlds that are marked, with its Monte Carlo error."""
    marked = np.array([bool(mark) for mark in marks])
    figure = float(marked.mean())
    return {"worlds": len(marked), "figure": figure, "std_error": float(np.sqrt(figure * (1 - figure) / len(marked)))}


def report(rates: pl.DataFrame) -> str:
    """Write the page."""
    figures = ("worlds", "figure", "std_error")
    told = rates.with_columns(pl.format("{}", pl.col(name).round(3)).alias(name) for name in figures)
    parts = {
        name: markdown_lines(("world", "regressor", "quantity", *figures), rows.drop("part").iter_rows(), figures)
        for (name,), rows in told.group_by("part", maintain_order=True)
    }
    return HEAD.format(worlds=rates.get_column("worlds").max(), misread=MISREAD, spin=f"{10 * MISREAD:g}", **parts)


def main(folder: Path, worlds: int = WORLDS) -> None:
    """Run the study."""
    parts = {
        "nothing": [row for size in SIZES for row in nothing_rows(size, worlds)],
        "proxy": proxy_rows("demo's size", worlds),
        "planted": [row for size in SIZES for by in (0.0, CONFOUNDED) for row in planted_rows(size, worlds, by)],
    }
    rates = pl.DataFrame([{"part": part, **row} for part, rows in parts.items() for row in rows])
    write_csv(folder / "rates.csv", rates)
    write_text(folder / "README.md", report(rates).rstrip() + "\n")
    print(report(rates))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
