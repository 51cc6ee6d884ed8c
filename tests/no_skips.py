"""With CI=true in the environment a skipped test fails: a pytest plugin, which tests/conftest.py takes in.

A test that is skipped has shown nothing, and a green run would hide it. Tests that are deselected, such as the long
ones, aren't skipped, and neither are those that are expected to fail.
"""

import os

import pytest


def failed_if_skipped(report):
    """Turn the report of a skip into that of a failure."""
    if os.environ.get("CI") == "true" and report.skipped and not hasattr(report, "wasxfail"):
        reason = report.longrepr[-1] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        report.outcome = "failed"
        report.longrepr = f"With CI=true a skipped test fails. {reason}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport():
    """Fail tests that are skipped."""
    return failed_if_skipped((yield))


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report():
    """Fail modules that are skipped whole."""
    return failed_if_skipped((yield))
