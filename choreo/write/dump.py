"""Any artefact between the passes as JSON, for people who want to see what a pass found out."""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Mapping
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry


def dump_text(artefact: Any) -> str:
    """Return an artefact as JSON: dataclasses by field, arrays as lists, geometries as well-known text.

    Private fields (caches) are left out; keys that are not text are written as text.
    """
    return json.dumps(_plain(artefact), indent=1, ensure_ascii=False) + "\n"


def file_name(stage: str) -> str:
    """Return a file name for a stage."""
    return re.sub(r"[^A-Za-z0-9_-]+", "-", stage) + ".json"


def _plain(value: Any) -> Any:
    if isinstance(value, BaseGeometry):
        return shapely.to_wkt(value, rounding_precision=9)
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, np.generic):
        return _plain(value.item())
    if dataclasses.is_dataclass(value):
        fields = [f.name for f in dataclasses.fields(value) if not f.name.startswith("_")]
        return {name: _plain(getattr(value, name)) for name in fields}
    if isinstance(value, Mapping):
        return {_key(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if isinstance(value, float) and not np.isfinite(value):
        return str(value)
    if value is None or isinstance(value, (bool, int, float, str)):
        return value
    if hasattr(value, "adjacency"):  # a graph
        return {
            _key(node): {_key(other): _plain(data) for other, data in edges.items()}
            for node, edges in value.adjacency()
        }
    return repr(type(value).__name__)


def _key(key: Any) -> str:
    return " / ".join(map(str, key)) if isinstance(key, tuple) else str(key)
