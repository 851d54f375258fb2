"""The page as a browser shows it with a design; needs Chromium and the extra `browser`."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from PIL import Image

if TYPE_CHECKING:
    from playwright.sync_api import Page

WIDTH, HEIGHT = 1600, 1000
"""Pixels of the window."""

COLOURS = 255
"""Colours of the picture: a palette takes less room."""

PATIENCE = 180.0
"""The longest that the page may take until it has its answer [s]."""


def draw_screen(design: Path, path: Path) -> list[Path]:
    """Open a design in the page, and keep what a browser shows of it once it is judged.

    Args:
        design: A design file.
        path: The picture, a PNG.
    """
    from playwright.sync_api import sync_playwright

    command = [sys.executable, "-m", "chaingen.cli", "page", str(design), "--no-browser", "--port", "0"]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert server.stdout is not None
        address = re.search(r"http://\S+/", server.stdout.readline())
        assert address is not None, "no address"
        with sync_playwright() as play:
            browser = play.chromium.launch(
                executable_path=os.environ.get("CHROMIUM") or shutil.which("chromium"),
                args=["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"],
            )
            page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT}, color_scheme="light")
            page.goto(address[0], wait_until="commit")
            _judged(page)
            page.screenshot(path=path)
            browser.close()
    finally:
        server.send_signal(signal.SIGINT)
        server.wait()
    picture = Image.open(path).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    picture.save(path, optimize=True)
    return [path]


def _judged(page: Page) -> None:
    """Wait until the full answer is drawn; the page's policy forbids the browser's own way to wait for it."""
    end = time.monotonic() + PATIENCE
    while not page.evaluate("Boolean(window.page && window.page.ready && window.page.full)"):
        assert time.monotonic() < end, "the page has no answer"
        page.wait_for_timeout(100)
    page.wait_for_timeout(1500)
