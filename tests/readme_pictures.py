"""Makes the pictures of the README anew, from an exercise: `python -m tests.readme_pictures`."""

from __future__ import annotations

import contextlib
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from simulators.scenario import find, load
from tests.conftest import ROOT
from tests.page.scene_server import SceneServer
from tests.picture.pictures import at
from watchkeeper.cli.main import main

FOLDER = ROOT / ".pictures"
SCENARIO, MOMENT_S = "four-faults", 195
DEBRIEFED = "headwind-home"


@contextlib.contextmanager
def server() -> Iterator[SceneServer]:
    """Serve a page that shows nothing yet."""
    serving = SceneServer()
    try:
        yield serving
    finally:
        serving.close()


def shoot(browser: Browser, url: str, name: str, width: int, height: int, *, dark: bool = False) -> None:
    """Look at an address and keep what is seen."""
    page = browser.new_page(viewport={"width": width, "height": height}, color_scheme="dark" if dark else "light")
    page.goto(url)
    page.wait_for_timeout(2500)
    page.screenshot(path=FOLDER / f"{name}.png")
    page.close()
    print(f"{name}: {(FOLDER / f'{name}.png').stat().st_size} bytes")


def make(folder: Path) -> None:
    """Make all of them; `folder` is for what is needed on the way."""
    sortie = load(find(SCENARIO)).sortie
    assert sortie is not None
    main(["brief", str(sortie), "--html", str(folder / "brief.html")])
    main(["drill", DEBRIEFED, "--speed", "max", "--record", str(folder / "flight")])
    main(["debrief", str(folder / "flight"), "--output", str(folder / "debrief.html")])
    with server() as serving, sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        serving.show([at(SCENARIO, MOMENT_S)], "pilot")
        shoot(browser, serving.address, "page", 1366, 768)
        serving.show([at(SCENARIO, MOMENT_S)], "observer")
        shoot(browser, serving.address, "phone", 390, 844)
        shoot(browser, (folder / "brief.html").as_uri(), "card", 1100, 1050)
        shoot(browser, (folder / "debrief.html").as_uri(), "debrief", 1100, 1200)
        browser.close()


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as scratch:
        make(Path(scratch))
    sys.exit(0)
