"""Puts this folder on the path, so that tests in every folder below can share its helpers; and the rules of a run.

In CI a skipped test fails the run, and random cases are the same on every run.
"""

import os

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "choreo",
    deadline=None,
    derandomize=bool(os.environ.get("CI")),
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
settings.load_profile("choreo")


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session, exitstatus):
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is None or not os.environ.get("CI") or exitstatus != pytest.ExitCode.OK:
        return
    for report in reporter.stats.get("skipped", []):
        reporter.write_line(f"skipped, which CI does not allow: {report.nodeid}")
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
