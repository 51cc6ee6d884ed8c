"""What came of a new fit, and which model a run measures golfers with."""

from dataclasses import dataclass

from pipeline.fit.model import FittedOn

# What comparing a fit with the kept model before it can come to.
FIRST, ADOPT, KEEP = "first", "adopt", "keep"

# Why a model is the one in use.
NEWEST, REFUSED, LAST, PINNED, ASKED, TRIAL = "newest", "refused", "last", "pinned", "asked", "trial"


@dataclass(frozen=True)
class ModelVerdict:
    """verdict.json: what came of comparing a fit with the kept model before it.

    Attributes
    ----------
    id : str
        Of the fit.
    parent : str or None
        Id of the kept model; None for a study's first fit.
    verdict : {"first", "adopt", "keep"}
    reasons : tuple of str
    lost_parent : str or None
        Id of the model that the fit was compared with when it was kept, if that is no longer there.
    """

    id: str
    parent: str | None
    verdict: str
    reasons: tuple[str, ...]
    lost_parent: str | None = None


@dataclass(frozen=True)
class Choice:
    """Which model is in use, and why.

    Attributes
    ----------
    id : str
    why : {"newest", "refused", "last", "pinned", "asked", "trial"}
        The newest fit, adopted; the newest adopted model, since the newest fit is refused; the newest fit, refused, but
        no adopted model can stand in; a person's choice for the study; a look by `model=`; a trial by `trial=`.
    newest : str or None
        Id of the newest fit; None where a run makes none that enters the lineage.
    because : str or None
        A person's reason for pinning the model in use or for refusing the newest fit.
    trial : str or None
        Name of the trial.
    """

    id: str
    why: str
    newest: str | None = None
    because: str | None = None
    trial: str | None = None

    @property
    def kept(self) -> bool:
        """Whether its files are those of a kept model, and not of a fit that this run made."""
        return self.why != TRIAL and self.id != self.newest


@dataclass(frozen=True)
class ModelInUse:
    """Which model golfers are measured with.

    Attributes
    ----------
    choice : Choice
    fitted_on : FittedOn
    verdict, held_against : str or None
        Of the newest fit: see `ModelVerdict`. None where the run has none.
    """

    choice: Choice
    fitted_on: FittedOn
    verdict: str | None = None
    held_against: str | None = None


def in_use_lines(used: ModelInUse) -> list[str]:
    """Say which model golfers are measured with, and why.

    Parameters
    ----------
    used : ModelInUse

    Returns
    -------
    list of str
        Sentences.
    """
    choice, on = used.choice, used.fitted_on
    what = {
        NEWEST: "the newest fit",
        REFUSED: "the newest adopted model",
        LAST: "the newest fit",
        PINNED: "pinned for this study",
        ASKED: "a kept model, named for this look",
        TRIAL: f"the trial {choice.trial}, which enters no lineage",
    }[choice.why]
    lines = [f"{choice.id}, {what}: {on.drives:,} drives of {on.golfers} golfers, {', '.join(on.quarters)}."]
    because = f" ({choice.because})" if choice.because else ""
    if choice.why == REFUSED:
        how = "by the comparison; see model/comparison.md" if used.verdict == KEEP else "by a person"
        lines.append(f"The newest fit, {choice.newest}, isn't used: it is refused{because or f' {how}'}.")
    elif choice.why == LAST:
        lines.append(f"It is refused{because}, but no adopted model can stand in.")
    elif choice.why == PINNED:
        newest = "It is also the newest fit." if choice.id == choice.newest else f"The newest fit is {choice.newest}."
        lines.append(f"{f'Why: {choice.because}. ' if choice.because else ''}{newest}")
    return lines
