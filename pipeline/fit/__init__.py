"""Fit carry on speed, launch and spin: candidate surfaces, their contest, the speed ratio, the intervals."""
