"""Run one step: `python -m pipeline.step NAME JSON...`, as rules do.

It imports next to nothing: where a run has a process with the libraries (`pipeline.running.forked_steps`), that one
runs the step, and all that is done here is to ask and to wait, some thirty times a run.
"""

import sys

from pipeline.handover import handed_over

if __name__ == "__main__":
    status = handed_over(sys.argv[1:])
    if status is None:
        from pipeline.run_step import main

        status = main()
    sys.exit(status)
