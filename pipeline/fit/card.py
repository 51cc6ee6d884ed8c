"""The model's card: what was fitted on what, how well, and where not to use it."""

import polars as pl

from pipeline.fit.held_out import ALL_KNOWN, CLUB_SPEED_ALONE
from pipeline.fit.model import CarryModel, known_key
from pipeline.fit.scores import Choice
from pipeline.fit.survey import Survey


def write_card(
    study: str, model: CarryModel, scores: pl.DataFrame, survey: Survey, residual_sd_yd: float, choice: Choice
) -> str:
    """Write the card as markdown.

    Parameters
    ----------
    study : str
    model : CarryModel
        The chosen model with its interval.
    scores : DataFrame
        The table `Scores`.
    survey : Survey
        Of the drives of the fit.
    residual_sd_yd : float
        Residual standard deviation of the fit, yd.
    choice : Choice
        Why the model was chosen.
    """
    chosen = scores.filter("chosen").row(0, named=True)
    of_it = "The used model's" if choice.forced else "Its"
    lines = [
        f"# Carry model of the study {study}",
        "",
        f"Carry in yards as a function of {model.surface.speed} speed, launch angle and backspin.",
        "",
        "## Fitted on",
        f"- {survey.shots:,} drives of {chosen['golfers']} golfers, quarters {', '.join(survey.quarters)}",
        *_ranges(survey, model.surface.speed),
        f"- reference: device {model.offsets.reference.get('device', '')}, ball "
        f"{model.offsets.reference.get('ball', '')}; others read longer (+) or shorter (-) by a share of carry:",
        *_offset_lines(model),
        "",
        "## How well, on golfers held out of the fit",
        "| model | terms | rms error, yd | its std. error | mean error, yd | inside the 90 % interval | chosen |",
        "|---|---|---|---|---|---|---|",
        *(_score_line(row) for row in scores.iter_rows(named=True)),
        "",
        f"{choice.sentence} {of_it} residual standard deviation in the fit is {residual_sd_yd:.2f} yd.",
        *_interval_lines(model),
        "",
        "## Center and scale of the terms",
        "| input | center | scale |",
        "|---|---|---|",
        *(
            f"| {name} | {axis.centre:.4f} | {axis.scale:.4f} |"
            for name, axis in zip(
                (f"{model.surface.speed} speed, mph", "launch, deg", "backspin, rpm"),
                model.surface.term_axes,
                strict=True,
            )
        ),
        "",
        "## Where not to use it",
        "- Outside the speeds, launch angles and spins above; `yardband lookup` gives no number there.",
        "- For irons, woods or any club but the driver.",
        "- To design ranges, nets or fences: these distances describe golfers. Design takes a qualified designer and "
        "local rules.",
        "- To compare devices or balls as such: their terms also absorb the sites' air and ground.",
        "- To promise yards: terms describe how drives differ, not what a change of delivery gives.",
        "",
    ]
    return "\n".join(lines)


def _ranges(survey: Survey, speed: str) -> list[str]:
    club, launch, spin = survey.extents["club"]
    named = [("club speed, mph", club), ("launch, deg", launch), ("backspin, rpm", spin)]
    if speed == "ball":
        named.insert(1, ("ball speed, mph", survey.extents["ball"][0]))
    return [
        f"- {name}: median {x.usual[1]:.1f}, 98 % of drives between {x.usual[0]:.1f} and {x.usual[2]:.1f}"
        for name, x in named
    ]


def _offset_lines(model: CarryModel) -> list[str]:
    figures = zip(model.offset_share, model.offset_std_error, model.offset_golfers, strict=True)
    # Levels are text from logs: a line end or a pipe must not break the card.
    return [
        f"  - {column} {' '.join(level.split()).replace('|', '/')}: {share:+.2%}, std. error {error:.2%}, "
        f"{golfers:.0f} golfers"
        for (column, level), (share, error, golfers) in zip(model.offsets.levels, figures, strict=True)
    ]


def _score_line(row: dict[str, object]) -> str:
    mark = "yes" if row["chosen"] else ""
    return (
        f"| {row['model']} | {row['terms']} | {row['rmse_yd']:.2f} | {row['rmse_std_error_yd']:.2f} "
        f"| {row['bias_yd']:+.2f} | {row['coverage90']:.3f} | {mark} |"
    )


def _interval_lines(model: CarryModel) -> list[str]:
    names = {known_key(*ALL_KNOWN): "everything is known", known_key(*CLUB_SPEED_ALONE): "club speed alone"}
    lines = ["", "90 % interval of one drive, as a share of its expected carry:"]
    for key, name in names.items():
        lo, hi = model.interval[key]
        lines.append(f"- {name}: {lo:+.1%} to {hi:+.1%}")
    return lines
