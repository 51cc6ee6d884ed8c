"""Running a study: what is checked first, what a run shows while it works, and how it ends."""
