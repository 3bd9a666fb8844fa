"""A real browser for sheets: what the machine has of Chromium, with nothing of its own to fetch."""

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

REQUIRED = "DRYSPIN_REQUIRE_BROWSER"
WAIT_MS = 120_000
"""A browser on a busy machine may be slow; nothing here is about how fast it is."""

NAMES = ("chromium", "chromium-browser", "google-chrome")
FLAGS = [
    "--no-sandbox",  # CI is root
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def find_browser() -> str | None:
    """Path of a Chromium on this machine."""
    return next((path for name in NAMES if (path := shutil.which(name))), None)


@dataclass
class Opened:
    """A page in the browser, and all it said and asked for."""

    page: Any
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def run(self, script: str) -> Any:
        """Value of a JavaScript expression or function."""
        return self.page.evaluate(script)

    def lanes(self) -> "Opened":
        """Itself, once the first lanes are alive."""
        self.page.wait_for_selector(".lanes[data-to]")
        return self

    def shown(self) -> tuple[float, float]:
        """From and to (s) of what the lanes show."""
        data = self.run("(({from, to}) => [+from, +to])(document.querySelector('.lanes').dataset)")
        return data[0], data[1]

    def press(self, keys: str) -> None:
        """Press keys in the lanes."""
        self.page.focus(".lanes")
        self.page.keyboard.press(keys)

    def cell(self, name: str) -> str:
        """A cell of the readout."""
        return str(self.page.text_content(f'[data-cell="{name}"]'))


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Chromium, headless, a fresh profile. Skips where there is none, fails if one is required."""
    path = find_browser()
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        path = None
    if path is None:
        if os.environ.get(REQUIRED) == "1":
            pytest.fail(
                f"{REQUIRED}=1, but there is no {' or '.join(NAMES)}, or no playwright", pytrace=False
            )
        pytest.skip("no Chromium on this machine: apt-get install chromium")
    with sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=path, args=FLAGS)
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def open_page(browser: Any) -> Iterator[Any]:
    """Opens a file: `open_page(path, width=1280, scheme="light", scripts=True)`."""
    contexts = []

    def open_file(path: Path, width: int = 1280, scheme: str = "light", scripts: bool = True) -> Opened:
        context = browser.new_context(
            viewport={"width": width, "height": 900}, color_scheme=scheme, java_script_enabled=scripts
        )
        context.set_default_timeout(WAIT_MS)
        contexts.append(context)
        opened = Opened(context.new_page())
        opened.page.on("console", lambda message: opened.said.append(message.text))
        opened.page.on("pageerror", lambda error: opened.said.append(str(error)))
        opened.page.on("dialog", lambda dialog: (opened.said.append(dialog.message), dialog.dismiss()))
        opened.page.on("request", lambda request: opened.asked.append(request.url))
        opened.page.goto(path.as_uri())
        return opened

    yield open_file
    for context in contexts:
        context.close()
