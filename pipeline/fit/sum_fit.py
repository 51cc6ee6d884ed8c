"""Step: make one pass of a fit over the drives of a part of the golfers.

Of a study cut into parts alone. In: drives.parquet, regressors.parquet where the study names any, and what `pool_fit`
asks. Out: what each piece of the part answered, in their order.
"""

from dataclasses import replace
from pathlib import Path

from pipeline.edge.answers import read_pooled, write_answers
from pipeline.edge.drives_file import Part, open_drives
from pipeline.fit.passes import Asked


def run(drives: str, asked: str, part: str, answers: str, beside: str | None = None) -> None:
    """Run the step; see the module's docstring. `part` is a name such as 1-of-2."""
    question: Asked = read_pooled(asked)
    own = open_drives(Path(drives), beside=None if beside is None else Path(beside), part=Part.named(part))
    pieces = replace(own, changes=question.changes, firsts=question.firsts).each_piece(question.ask)
    count = write_answers(Path(answers), pieces)
    print(f"Part {part}: {count} pieces of drives.")
