"""Whatever the bytes, reading gives a project or a ChoreoError, and words that can be printed."""

from __future__ import annotations

import json
import shutil

import pytest
from corpus import GOOD
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_read_schema import mutated

from choreo.errors import ChoreoError
from choreo.read.project import read_project

ASSEMBLY = (GOOD / "assembly.json").read_bytes()
CHOREOGRAPHY = (GOOD / "choreography.toml").read_bytes()
SPICE = st.one_of(
    st.binary(max_size=6),
    st.sampled_from(
        [b"[[[[", b"{", b'"', b"'''", b"nan", b"1e999", b"-0", b"9" * 25, b"\\ud800", b"\x00", b"\xff", b"\n[", b"}"]
    ),
)
FUZZ = settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def project(tmp_path):
    shutil.copytree(GOOD, tmp_path / "lamp")
    return tmp_path / "lamp"


def read(folder):
    """Read, and print what is wrong as a terminal and as a JSON file would."""
    try:
        read_project(folder)
    except ChoreoError as error:
        caught = error
    else:
        return
    assert caught.exit_code == 2
    assert caught.findings
    for finding in caught.findings:
        finding.as_text().encode("utf-8")
        json.dumps(finding.as_json()).encode("ascii")


@st.composite
def spoilt(draw, data):
    """Return `data` with one to four pieces cut out or put in."""
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(data)))
        end = min(len(data), start + draw(st.integers(0, 12)))
        data = data[:start] + draw(SPICE) + data[end:]
    return data


@FUZZ
@given(data=st.binary(max_size=80))
def test_bytes(project, data):
    for name in ("assembly.json", "choreography.toml"):
        (project / name).write_bytes(data)
    read(project)


@FUZZ
@given(data=spoilt(ASSEMBLY))
def test_spoilt_assembly(project, data):
    (project / "assembly.json").write_bytes(data)
    read(project)


@FUZZ
@given(data=spoilt(CHOREOGRAPHY))
def test_spoilt_choreography(project, data):
    (project / "choreography.toml").write_bytes(data)
    read(project)


@FUZZ
@given(value=mutated("assembly"))
def test_mutated_assembly(project, value):
    (project / "assembly.json").write_text(json.dumps(value), encoding="utf-8")
    read(project)


NUMBERS = st.one_of(
    st.sampled_from([0, 1, -1, 0.5, 1e-300, -1e-300, 1e6, -1e6, 1e-9, 3, 4]),
    st.floats(-1e6, 1e6),
    st.integers(-3, 3),
)
RINGS = st.lists(st.tuples(NUMBERS, NUMBERS), min_size=3, max_size=8)


@FUZZ
@given(outline=RINGS, holes=st.lists(RINGS, max_size=3), touch=st.sampled_from([1e-12, 0.05, 10]))
def test_rings(project, outline, holes, touch):
    value = json.loads(ASSEMBLY)
    value["touch_mm"] = touch
    value["parts"][0]["slabs"][0] |= {"outline": outline, "holes": holes}
    (project / "assembly.json").write_text(json.dumps(value), encoding="utf-8")
    read(project)
