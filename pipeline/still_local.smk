"""What stays on this machine, or on the file system that nodes share, where results go to a bucket.

The study, what is read to tell which model is in use, and outputs that a step may take from the last run (`update`):
Snakemake copies those as they are here.
"""

from snakemake.io import is_flagged


def still_local(rule):
    """Mark outputs that are `local` again, for the rules that take them. Snakemake forgets the mark on the way."""
    for made, taken in zip(rule.rule.output, rule.output, strict=True):
        if is_flagged(made, "local"):
            local(taken)
