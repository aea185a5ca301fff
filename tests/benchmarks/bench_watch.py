"""From a save to the pixels of a real Chromium: `choreo watch` on the headlamp, edited in a copy.

    python tests/benchmarks/bench_watch.py [PROJECT]

For each edit: ms from the end of the write until new paths (of one shot, of all), the true picture, and the whole page
are drawn (the frame after the page was told). Goals: an edit of the timing 150 ms, of a view 500 ms, to the first.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

ROOT = Path(__file__).resolve().parents[2]
ARGUMENTS = ["--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu", "--disable-background-networking"]
NOTE = """() => {
  window.seen = [];
  new MutationObserver(() => {
    const { round, state } = document.documentElement.dataset;
    requestAnimationFrame(() => window.seen.push([round, state, Date.now()]));
  }).observe(document.documentElement, { attributes: true });
}"""


def edits(text):
    """Edits of a choreography, each of what is there."""
    slower = re.sub(
        r"^stagger = (\d+)", lambda found: f"stagger = {int(found[1]) + 1}", text, count=1, flags=re.MULTILINE
    )
    return {
        "stagger of all shots": slower,
        "back": text,
        "stagger of the second shot": re.sub(r"^  stagger = \d+", "  stagger = 5", text, count=1, flags=re.MULTILINE),
        "back again": text,
        "length of the last hold": re.sub(
            r"^  frames = (\d+)(?!.*^  frames)",
            lambda found: f"  frames = {int(found[1]) + 2}",
            text,
            count=1,
            flags=re.MULTILINE | re.DOTALL,
        ),
        "back from that": text,
        "view of the first shot": re.sub(r"azimuth = (\d+)", r"azimuth = \g<1>.5", text, count=1),
        "a mistake": text.replace('kind = "explode"', 'kind = "explod"', 1),
        "mended": text,
    }


def wait(page, done):
    until = time.monotonic() + 120
    while time.monotonic() < until:
        data = page.evaluate("({...document.documentElement.dataset})")
        if done(data):
            return data
        time.sleep(0.03)
    raise SystemExit(f"waited in vain: {data}")


def measure(page, file):
    page.evaluate(NOTE)
    wait(page, lambda data: data.get("state") == "whole")
    for name, text in edits(file.read_text()).items():
        time.sleep(1.0)
        number = int(page.evaluate("document.documentElement.dataset.round")) + 1
        file.write_text(text)
        saved = time.time() * 1000

        def done(data, number=number):
            return data.get("round") == str(number) and data.get("state") in {"whole", "failed"}

        wait(page, done)
        time.sleep(0.2)
        first = {}
        for told, state, at in page.evaluate("window.seen"):
            if told == str(number):
                first.setdefault(state, round(at - saved))
                if state == "moving":  # a message a shot
                    first["moving, all shots"] = round(at - saved)
        print(f"{name:28}", ", ".join(f"{state} {ms} ms" for state, ms in first.items()))


def main():
    project = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "demo_assemblies" / "headlamp"
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        copy = Path(shutil.copytree(project, Path(folder) / project.name))
        command = [sys.executable, "-m", "choreo", "watch", str(copy), "--json"]
        watch = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT)
        try:
            address = json.loads(watch.stdout.readline())["address"]
            browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=ARGUMENTS)
            page = browser.new_page(viewport={"width": 1300, "height": 900})
            page.goto(address)
            measure(page, copy / "choreography.toml")
            browser.close()
        finally:
            watch.terminate()


if __name__ == "__main__":
    main()
