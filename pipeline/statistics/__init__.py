"""Statistics that serve more than one stage: intervals, tests, shrinkage, least squares, quantile lines."""
