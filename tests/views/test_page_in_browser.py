"""The page in a real browser, where there is one: nothing sticks out at 390 and 1280 px, nothing is asked for.

Skipped where no Chromium is installed; the structure of the page is tested without one in `test_page`.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from rigcheck.files import rig_from_text
from rigcheck.studies.sheet.study import sheet
from rigcheck.views.page import page_html
from tests.support.sheet_rigs import hard

BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)

pytestmark = pytest.mark.skipif(BROWSER is None, reason="no Chromium here: the page is not laid out")

# Only in the copy under test: it measures, and leaves what it found as text in the page.
PROBE = """
<script>
addEventListener("load", () => {
  const wide = document.documentElement.clientWidth;
  const out = [...document.querySelectorAll("main *, header *, footer *")]
    .filter(e => e.getClientRects().length && e.getBoundingClientRect().right > wide + 1
      && !e.closest("svg > *") && !e.closest(".scroll"))
    .map(e => e.tagName + ": " + e.textContent.slice(0, 40));
  const svg = [...document.querySelectorAll("figure > svg")].map(e => e.getBoundingClientRect().width);
  const small = [...document.querySelectorAll("figure > svg text")]
    .map(e => e.getBoundingClientRect().height).filter(h => h > 0);
  const found = {wide, whole: document.documentElement.scrollWidth, out, least: Math.min(...svg),
    letters: Math.min(...small), fetched: performance.getEntriesByType("resource").length};
  document.title = "found " + JSON.stringify(found) + " end";
});
</script>
"""


def browse(folder: Path, *words: str, page: Path) -> subprocess.CompletedProcess[str]:
    flags = [
        "--headless",
        "--no-sandbox",
        "--hide-scrollbars",
        "--disable-gpu",
        "--disable-background-networking",
    ]
    flags += ["--disable-component-update", "--disable-sync", f"--user-data-dir={folder / 'profile'}"]
    assert BROWSER is not None
    return subprocess.run(
        [BROWSER, *flags, *words, page.as_uri()],
        capture_output=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )


@pytest.fixture(scope="module")
def html() -> str:
    return page_html(sheet(rig_from_text(hard())))


@pytest.mark.parametrize("width", [390, 1280])
def test_nothing_sticks_out(html, tmp_path, width):
    # The window of a headless browser does not go below 500 px; a frame of the wanted width does.
    inner = tmp_path / "sheet.html"
    inner.write_text(html.replace("</body>", f"{PROBE}</body>"), encoding="utf-8")
    outer = tmp_path / "frame.html"
    outer.write_text(
        f'<!doctype html><title>frame</title><iframe id="f" width="{width}" height="4000" style="border:0"'
        ' src="sheet.html"></iframe><script>addEventListener("load", () => setTimeout(() => {'
        'document.title = document.getElementById("f").contentDocument.title; }, 300));</script>',
        encoding="utf-8",
    )
    done = browse(
        tmp_path,
        "--allow-file-access-from-files",
        "--virtual-time-budget=5000",
        "--window-size=1400,4200",
        "--dump-dom",
        page=outer,
    )
    told = re.search(r"found (\{.*?\}) end", done.stdout, flags=re.DOTALL)
    assert told, done.stderr[-500:]
    found = json.loads(told[1].replace("&amp;", "&").replace("&lt;", "<").replace("&gt;", ">"))
    assert found["wide"] == width
    assert found["whole"] <= width, found["out"]
    assert found["out"] == []
    assert found["fetched"] == 0
    assert found["least"] >= 300  # a picture is never squeezed
    assert found["letters"] >= 8  # px high, the smallest letters in a picture


def test_it_prints_in_true_size(html, tmp_path):
    page, printed = tmp_path / "sheet.html", tmp_path / "sheet.pdf"
    page.write_text(html, encoding="utf-8")
    browse(tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={printed}", page=page)
    content = printed.read_bytes()
    assert content.startswith(b"%PDF-")
    assert 5 <= len(re.findall(rb"/Type\s*/Page\b", content)) <= 16
