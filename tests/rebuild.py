"""Write anew what the repository keeps of its demo scenarios: the gallery in maps/ and the rows in tests/golden/.

Run: python tests/rebuild.py [scenario ...]; all of them if none is named. What changes is committed with the reason.
"""

from __future__ import annotations

import shutil
import sys

import kept_findings
from browser import gallery
from browser.conftest import QUIET
from demo_scenarios import NAMES, ROOT, assessment
from playwright.sync_api import sync_playwright

GOLDEN = ROOT / "tests" / "golden"


def main(names: list[str]) -> None:
    """Rebuild the named scenarios; without names all, and what is kept of scenarios that are gone is deleted."""
    unknown = sorted(set(names) - set(NAMES))
    chromium = shutil.which("chromium")
    if unknown or chromium is None:
        sys.exit(f"no such scenario: {', '.join(unknown)}; there are {', '.join(NAMES)}" if unknown else
                 "the pictures need chromium: apt-get install chromium fonts-liberation")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=list(QUIET))
        for name in names or NAMES:
            kept_findings.write(kept_findings.kept(assessment(name)), GOLDEN / f"{name}.csv")
            print(f"written: tests/golden/{name}.csv, {gallery.render(name, browser).relative_to(ROOT)}/")
        browser.close()
    if not names:
        for stray in (*(path for path in GOLDEN.glob("*.csv") if path.stem not in NAMES),
                      *(path for path in gallery.GALLERY.iterdir() if path.is_dir() and path.name not in NAMES)):
            shutil.rmtree(stray) if stray.is_dir() else stray.unlink()
            print(f"deleted: {stray.relative_to(ROOT)}")


if __name__ == "__main__":
    main(sys.argv[1:])
