"""How large a sheet is and how fast it opens; pictures of it.

`python -m tests.browser.show FILE.html` measures; with `--png FILE.png` it saves what the window shows.
"""

import argparse
import statistics
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

from .conftest import FLAGS, find_browser

OPENINGS = 5


def main() -> None:
    """Print the size and the time of each opening, from the address to lanes drawn."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", type=Path)
    parser.add_argument("--png", type=Path)
    parser.add_argument("--width", type=int, default=1280)
    parser.add_argument("--height", type=int, default=1000)
    parser.add_argument("--scheme", choices=["light", "dark"], default="light")
    parser.add_argument("--keys", default="", help="keys pressed in the lanes, one a letter")
    parser.add_argument("--at", default="", help="scroll this element to the top")
    given = parser.parse_args()
    times_s, cpu_s = [], []
    with sync_playwright() as driver:
        for _ in range(1 if given.png else OPENINGS):
            browser = driver.chromium.launch(executable_path=find_browser(), args=FLAGS)
            window = {"width": given.width, "height": given.height}
            page = browser.new_page(viewport=window, color_scheme=given.scheme)
            watch = page.context.new_cdp_session(page)
            watch.send("Performance.enable", {"timeDomain": "threadTicks"})
            begun_s = time.monotonic()
            page.goto(given.file.resolve().as_uri())
            # in the sheet of a check the first lanes lie far below, and wake when they are about to be seen
            page.locator("section.case").first.evaluate("(element) => element.scrollIntoView()")
            page.wait_for_selector(".lanes[data-to]")
            page.evaluate("() => new Promise(requestAnimationFrame)")
            times_s.append(time.monotonic() - begun_s)
            metrics = {one["name"]: one["value"] for one in watch.send("Performance.getMetrics")["metrics"]}
            cpu_s.append(metrics["TaskDuration"])
            if given.png:
                for key in given.keys:
                    page.focus(".lanes")
                    page.keyboard.press(key)
                if given.at:
                    page.locator(given.at).first.evaluate("(element) => element.scrollIntoView()")
                page.screenshot(path=given.png)
            browser.close()
    print(f"{given.file}: {given.file.stat().st_size / 1e6:.2f} MB")
    print(f"opened in {min(times_s):.2f} to {max(times_s):.2f} s, median {statistics.median(times_s):.2f} s")
    print(f"of which the page's own thread worked {statistics.median(cpu_s):.2f} s (median)")


if __name__ == "__main__":
    main()
