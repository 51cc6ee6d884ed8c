"""Picture the first screen of an academy's page: `python docs/make/first_screen.py PAGE PICTURE`.

The README shows that of the demo, docs/pictures/first_screen.png.
"""

import shutil
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

SCREEN = {"width": 1280, "height": 760}
BROWSERS = ("chromium", "chromium-browser", "google-chrome")


def picture(page: Path, target: Path) -> None:
    """Open a page's first screen without a network and write it as PNG."""
    with sync_playwright() as playwright:
        path = next(filter(None, map(shutil.which, BROWSERS)), None)
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        context = browser.new_context(viewport=SCREEN, offline=True)
        opened = context.new_page()
        opened.goto(page.resolve().as_uri())
        opened.wait_for_selector("h1")
        opened.screenshot(path=target)
        browser.close()


if __name__ == "__main__":
    picture(Path(sys.argv[1]), Path(sys.argv[2]))
