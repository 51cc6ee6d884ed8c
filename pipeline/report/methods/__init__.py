"""The methods section of a paper, filled from a run."""
