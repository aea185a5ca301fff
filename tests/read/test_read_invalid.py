"""Each broken file gives exactly its findings: code, place, line, and exit code 2."""

from __future__ import annotations

import re

import pytest
from corpus import cases, error_of, expected, summary


@pytest.mark.parametrize("case", cases(), ids=lambda case: case.name)
def test_findings(case, tmp_path):
    error = error_of(case, tmp_path)
    assert error.exit_code == 2
    errors = [finding for finding in error.findings if finding.severity == "error"]
    assert sorted(map(summary, errors)) == sorted(expected(case))
    for finding in errors:
        assert finding.file
        assert finding.remedy
        assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", finding.code)
        assert str(finding.as_text()).replace("\n", "").isprintable()
        assert len(finding.what) < 400


def test_there_are_enough():
    assert len(cases()) >= 60
