"""Step: pool what all parts answered in a pass of a fit, and say what the next pass asks.

Of a study cut into parts alone. In: as `fit_model`, what was pooled before, and what `sum_fit` was answered in the last
pass, if there was any. Out: what is pooled now (before the first pass, over which speed the study is fitted), and what
is asked next.
"""

from collections.abc import Sequence
from typing import Any

from pipeline.configuration.study import Model
from pipeline.edge.answers import Answers, read_pooled, write_pooled
from pipeline.fit.fit_model import fit_of_study, speed_of
from pipeline.fit.passes import Asked, gone_on


def run(
    drives: str,
    calibration: str,
    seed: int,
    air: dict[str, Any],
    choices: dict[str, Any],
    strike: float,
    own: Sequence[str],
    before: Sequence[str],
    answers: Sequence[str],
    pooled: str,
    asked: str,
    beside: str | None = None,
) -> None:
    """Run the step; see the module's docstring. `before` are the files of earlier `pooled`."""
    known = list(map(read_pooled, before))
    speed = known[0] if known else speed_of(drives)
    method = Model.model_validate(choices)
    told: list[str] = []
    fit = fit_of_study(drives, speed, method, beside, calibration, seed, air, strike, own, told.append, keeps=False)
    one = gone_on(fit, known[1:])
    found: Any = speed
    if known:
        told.clear()  # another job has said that
        found = one.pool(Answers(answers))
        one = fit.send(found)
    write_pooled(pooled, found)
    write_pooled(asked, Asked.of(one))
    print(*told, f"Pooled {len(known)} passes over the drives.", sep="\n")
