"""What became of one log, in figures and in a sentence (pure)."""

from dataclasses import dataclass, field

_MOST_SHOWN = 50  # headers in a sentence; a workbook may have thousands of empty ones


@dataclass(frozen=True)
class Receipt:
    """What became of one log.

    Attributes
    ----------
    source : str
    sha256 : str or None
    status : str
        used or refused.
    rows, accepted, rejected : int
    dropped : list of str
        Headers that no standard column takes, or their places: their cells were never stored.
    absent : list of str
        Wanted or optional columns that the layout names a header for, but the log lacks; none for standard logs.
    withheld : dict of str to int
        Text columns with the number of cells that held a golfer's name and were replaced by a fixed word.
    named_file : bool
        Whether the log's file name, which results show, holds the name of one of its golfers.
    notes : list of str
        What looks wrong with the log as a whole, though its rows were used; clauses.
    carry_over_flight : float or None
        Median carry over that of flight, by which logs are compared.
    further : dict of str to dict
        Regressors that the log has a column of, with `numbers`, the drives that have one, and `no_number`, the drives
        whose cell holds something else.
    left_out : int
        Rows that the layout's `rows` leave out, such as those of other clubs; none of `rows`.
    reason : str or None
        Why it was refused; a clause.
    """

    source: str
    sha256: str | None
    status: str
    rows: int = 0
    accepted: int = 0
    rejected: int = 0
    dropped: list[str] = field(default_factory=list)
    absent: list[str] = field(default_factory=list)
    withheld: dict[str, int] = field(default_factory=dict)
    named_file: bool = False
    notes: list[str] = field(default_factory=list)
    carry_over_flight: float | None = None
    further: dict[str, dict[str, int]] = field(default_factory=dict)
    left_out: int = 0
    reason: str | None = None

    def sentence(self) -> str:
        """Say it in one line."""
        if self.status == "refused":
            return f"{self.source}: refused, {self.reason}."
        parts = [f"{self.rows} rows read, {self.accepted} accepted, {self.rejected} rejected"]
        if self.left_out:
            parts.append(f"{self.left_out} more left out by the layout's rows, such as those of other clubs")
        if self.dropped:
            more = len(self.dropped) - _MOST_SHOWN
            shown = ", ".join(self.dropped[:_MOST_SHOWN])
            parts.append(f"columns not used: {shown}{f' and {more:,} more' if more > 0 else ''}")
        if self.absent:
            parts.append(f"in the layout but not in the log: {', '.join(self.absent)}")
        for column, count in self.further.items():
            told = f"{count['numbers']} drives have a number in {column}"
            parts.append(f"{told}, {count['no_number']} something else" if count["no_number"] else told)
        if self.withheld:
            told = ", ".join(f"{number} in {column}" for column, number in self.withheld.items())
            parts.append(f"cells withheld, as they hold a golfer's name: {told}")
        if self.named_file:
            parts.append("its file name holds a golfer's name and results show it: rename the file")
        told = f"{self.source}: {'; '.join(parts)}."
        return f"{told} Look again: {'; '.join(self.notes)}." if self.notes else told
