"""The whole text of comparison.md: two fits, what their benchmarks publish, and the golfers whom they flag."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import polars as pl

from pipeline.benchmark.efficient import Efficient
from pipeline.benchmark.published import BenchmarkRules, Publisher, published_moves, usual_moves
from pipeline.benchmark.published_text import answer_of, published_lines, usual_lines
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.drives import Drives
from pipeline.fit.comparison import Verdict
from pipeline.fit.comparison_text import write_comparison
from pipeline.fit.findings import Findings, drives_of_old
from pipeline.fit.model_changes import ComparedFit
from pipeline.fit.resampled import ResampledFits
from pipeline.flight.devices import StudyDevices
from pipeline.golfers.flags import FlagRules
from pipeline.golfers.shared_errors import SharedErrors
from pipeline.research.flag_changes import flag_changes, flag_lines, flagged_by, shared_errors_of


@dataclass(frozen=True)
class Side:
    """One of two fits that are compared.

    Attributes
    ----------
    fit : ComparedFit
    refits : ResampledFits
        replicates.npz of the fit.
    rules : BenchmarkRules
        Of its own benchmarks.
    known : SharedErrors or None
        Of its frontier on today's drives, where benchmarks have been built with it; else they are recalculated.
    efficient : mapping of float to Efficient
        What is efficient by it at all club speeds; without it, that is calculated.
    stamp : str
        Of what that follows from.
    """

    fit: ComparedFit
    refits: ResampledFits
    rules: BenchmarkRules
    known: SharedErrors | None = None
    efficient: Mapping[float, Efficient] = field(default_factory=dict)
    stamp: str = ""

    @property
    def publisher(self) -> Publisher:
        """Its model with what its benchmarks are made of."""
        return Publisher(self.fit.model, self.refits, self.fit.typical, self.rules, self.efficient)


def comparison_text(
    study: str,
    old: Side,
    new: Side,
    findings: Findings,
    verdict: Verdict | None,
    drives: pl.DataFrame | Drives,
    devices: StudyDevices,
    roller: Roller,
    flags: FlagRules,
    golfers: float = 1.0,
    then: str | None = None,
) -> str:
    """Write comparison.md of two fits.

    Parameters
    ----------
    study : str
    old, new : Side
    findings : Findings
        Of the two.
    verdict : Verdict or None
        None where two kept models are compared and there is nothing to decide.
    drives : DataFrame or Drives
        All accepted drives of today, with the columns of `FIT_COLUMNS` and `AIR_COLUMNS`, carry_measured_yd and
        struck_on; carry at standard conditions as the new fit has it.
    devices : StudyDevices
        As they are compared today.
    roller : Roller
        Of today's standard conditions.
    flags : FlagRules
    golfers : float
        The least share of the old fit's golfers that the rule of adoption asks for.
    then : str or None
        See `write_comparison`.

    Returns
    -------
    str
        Markdown.
    """
    read = Drives.of(drives)
    before = drives_of_old(old.fit, new.fit, read, findings.references)
    moves = published_moves(old.publisher, new.publisher, findings, roller)
    quarters = sorted(set(old.fit.quarters) & set(new.fit.quarters))
    usual = usual_moves(old.publisher, new.publisher, before, read, quarters, findings.references, roller)
    flagged = [_flagged(side, there, devices, roller, flags) for side, there in ((old, before), (new, read))]
    sections = [
        *published_lines(moves, findings),
        *usual_lines(usual, findings),
        *flag_lines(flag_changes(*flagged), findings.references.names),
    ]
    centres = new.rules.bands.centres_mph
    answer = answer_of(moves, findings)
    return write_comparison(study, new.fit, findings, verdict, centres, golfers, then, answer=answer, sections=sections)


def _flagged(side: Side, drives: Drives, devices: StudyDevices, roller: Roller, flags: FlagRules) -> pl.DataFrame:
    fit = side.fit
    used = drives.usable(fit.model.surface.speed)
    shared = side.known or shared_errors_of(side.publisher, used, fit.drives, devices, fit.air, roller)
    return flagged_by(drives, fit.model, shared, flags)
