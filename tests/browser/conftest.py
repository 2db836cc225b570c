"""A real browser looks at letters and pages: the headless Chromium that CHROMIUM names, else it is skipped.

With SCREENSHOTS a folder gets a picture of each page looked at.
"""

import functools
import html
import json
import os
import re
import subprocess
import threading
from dataclasses import dataclass
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

CHROMIUM = os.environ.get("CHROMIUM", "")
FLAGS = [
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync", "--mute-audio"),
    *("--disable-default-apps", "--disable-extensions", "--run-all-compositor-stages-before-draw"),
]
# Measures a page inside a frame: a window of headless Chromium is never narrower than 500 px.
MEASURE = """<!DOCTYPE html><meta charset="utf-8"><body style="margin:0">
<iframe id="frame" src="PAGE" style="width:WIDTHpx;height:900px;border:0"></iframe><pre id="found"></pre>
<script>
const frame = document.getElementById("frame");
function channel(c) { c /= 255; return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4; }
function luminance(c) { return 0.2126 * channel(c[0]) + 0.7152 * channel(c[1]) + 0.0722 * channel(c[2]); }
function colour(text) { return text.match(/[\\d.]+/g).map(Number); }
function ground(view, element) {
  for (let e = element; e; e = e.parentElement) {
    const c = colour(view.getComputedStyle(e).backgroundColor);
    if (c.length < 4 || c[3] > 0) return c;
  }
  return [255, 255, 255];
}
frame.onload = () => {
  const page = frame.contentDocument, view = frame.contentWindow, low = [];
  let least = 99;
  const walk = page.createTreeWalker(page.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const text = walk.currentNode.textContent.trim(), parent = walk.currentNode.parentElement;
    if (!text || ["STYLE", "SCRIPT"].includes(parent.tagName)) continue;
    const a = luminance(colour(view.getComputedStyle(parent).color)), b = luminance(ground(view, parent));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    least = Math.min(least, ratio);
    if (ratio < 4.5) low.push(text.slice(0, 40));
  }
  const wide = [...page.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > WIDTH + 0.5);
  document.getElementById("found").textContent = JSON.stringify({
    scroll: page.documentElement.scrollWidth, wide: wide.map(e => e.tagName), least, low,
    headings: [...page.querySelectorAll("h1,h2,h3,h4")].map(e => Number(e.tagName[1])),
    pictures: [...page.images].map(e => ({alt: e.alt, loaded: e.complete && e.naturalWidth > 0, width: e.width})),
    smallest: Math.min(...[...page.querySelectorAll("p,dd,dt,td,li")].map(
      e => parseFloat(view.getComputedStyle(e).fontSize))),
    fetched: view.performance.getEntriesByType("resource").map(e => e.name),
    height: page.documentElement.scrollHeight, ground: view.getComputedStyle(page.body).backgroundColor,
  });
};
</script>"""


@dataclass(frozen=True)
class Looker:
    """Looks at pages of a folder; `shots` is where pictures of them are left, if anywhere."""

    folder: Path
    base: str
    profile: Path
    shots: Path | None

    def measure(self, page: str, width: int, *, dark: bool = False) -> dict:
        wrapper = self.folder / "measure.html"
        wrapper.write_text(MEASURE.replace("PAGE", page).replace("WIDTH", str(width)), encoding="utf-8")
        shown = self._run(["--virtual-time-budget=8000", "--dump-dom", f"{self.base}/measure.html"], width, dark)
        if self.shots is not None:
            name = f"{re.sub(r'[^a-z0-9]+', '-', page.lower())}-{width}{'-dark' if dark else ''}.png"
            self._run([f"--screenshot={self.shots / name}", f"{self.base}/measure.html"], width, dark)
        found = re.search(r'<pre id="found">(.*?)</pre>', shown, re.DOTALL)
        assert found, f"Chromium showed nothing of {page}: {shown[:300]}"
        assert found[1], f"{page} was never loaded"
        return json.loads(html.unescape(found[1]))

    def _run(self, words: list[str], width: int, dark: bool) -> str:
        scheme = [f"--blink-settings=preferredColorScheme={0 if dark else 1}"]
        window = [f"--window-size={max(width, 500)},900", f"--user-data-dir={self.profile}"]
        done = subprocess.run(
            [CHROMIUM, *FLAGS, *scheme, *window, *words], capture_output=True, text=True, timeout=60, check=True
        )
        return done.stdout


@pytest.fixture(scope="session")
def browser_profile(tmp_path_factory):
    if not CHROMIUM:
        pytest.skip("no browser: CHROMIUM names no Chromium")
    return tmp_path_factory.mktemp("chromium")


@pytest.fixture
def looker(browser_profile):
    """Makes a `Looker` for a folder; every server ends with the test."""
    servers = []

    class Quiet(SimpleHTTPRequestHandler):
        def log_message(self, *words):
            pass

    def over(folder):
        handler = functools.partial(Quiet, directory=str(folder))
        server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        servers.append(server)
        shots = os.environ.get("SCREENSHOTS")
        if shots:
            Path(shots).mkdir(parents=True, exist_ok=True)
        return Looker(
            folder, f"http://127.0.0.1:{server.server_port}", browser_profile, Path(shots) if shots else None
        )  # fmt: skip

    yield over
    for server in servers:
        server.shutdown()
        server.server_close()
