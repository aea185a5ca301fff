"""What an approval of a section of the headlamp costs: to sign it, and to tell how it stands after edits.

Run as ``python tests/benchmarks/bench_sign_off.py``. Times are those of a command as a whole, in seconds: on the wall,
and of all its processes on the processor.
"""

from __future__ import annotations

import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SECTION = "return"


def choreo(*arguments: object) -> str:
    """Run a command and return what it says, with its times."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", "choreo", *map(str, arguments)],
        capture_output=True, text=True, check=True, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    lines = [line for line in done.stdout.splitlines() if line.startswith((SECTION, "Frames"))]
    return f"{time.perf_counter() - start:6.1f} {spent:6.1f}   " + "; ".join(lines)


def edited(folder: Path, part: str, change: dict[str, object]) -> None:
    """Change a part of the assembly."""
    file = folder / "assembly.json"
    assembly = json.loads(file.read_text())
    next(one for one in assembly["parts"] if one["id"] == part).update(change)
    file.write_text(json.dumps(assembly))


def main() -> None:
    """Print the times."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "headlamp"
        shutil.copytree(ROOT / "demo_assemblies" / "headlamp", folder, ignore=shutil.ignore_patterns("out"))
        choreo("compile", folder)
        print("  wall    cpu")
        print(choreo("sign-off", folder, "--by", "Ada", "--section", SECTION), "(signed)")
        print(choreo("status", folder), "(nothing changed)")
        slabs = next(one for one in json.loads((folder / "assembly.json").read_text())["parts"] if one["id"] == "cell")
        slabs["slabs"][0]["z"][1] -= 0.01
        edited(folder, "cell", {"slabs": slabs["slabs"]})
        choreo("compile", folder)
        print(choreo("status", folder), "(a hidden slab is less deep)")
        print(choreo("status", folder), "(asked again)")
        text = (folder / "choreography.toml").read_text()
        (folder / "choreography.toml").write_text(text.replace("delay = 78", "delay = 72"))
        choreo("compile", folder)
        print(choreo("status", folder), "(a part starts earlier)")


if __name__ == "__main__":
    main()
