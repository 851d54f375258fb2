"""Drives the page in a real browser: visits that notice whatever goes wrong.

PAGE_SHOTS names a folder to keep screenshots and measurements in. Where the picture does not matter windows
are small and their pixels coarse, for WebGL is drawn in software.
"""

from __future__ import annotations

import base64
import io
import json
import os
import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.page_server import PATIENCE, Server, chromium, served

if TYPE_CHECKING:
    # Where the tests in a browser are left out, what drives it need not be there.
    from playwright.sync_api import Browser, ConsoleMessage, Locator, Page, Request, Response

__all__ = ["EXAMPLES", "Server", "Visit", "chromium", "drawn", "served", "visiting"]

EXAMPLES = Path(__file__).parents[1] / "examples"


class Visit:
    """One tab of the page, and all that went wrong in it.

    Attributes:
        page: The tab.
        urls: Every address it asked for.
        wrong: Errors of the console and of scripts, requests that failed, answers that were refused.
        weight: Bytes that came over the wire by address: heads and bodies, as encoded.
        asking: Requests to the server that have no end yet.
    """

    def __init__(self, page: Page, server: Server) -> None:
        self.page, self.server = page, server
        self.urls: list[str] = []
        self.wrong: list[str] = []
        self.weight: dict[str, int] = {}
        self.asking: set[str] = set()
        page.set_default_timeout(PATIENCE * 1000.0)
        page.on("request", lambda request: self.urls.append(request.url))
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.wrong.append(f"script: {error}"))
        page.on("requestfailed", self._failed)
        page.on("response", self._answered)
        network = page.context.new_cdp_session(page)
        network.send("Network.enable")
        asked: dict[str, str] = {}

        def begun(event: dict[str, Any]) -> None:
            number, url = event["requestId"], event["request"]["url"]
            asked[number] = url
            if "/api/" in url:
                self.asking.add(number)

        def over(event: dict[str, Any]) -> None:
            self.asking.discard(event["requestId"])
            if "encodedDataLength" in event:
                url = asked[event["requestId"]]
                self.weight[url] = self.weight.get(url, 0) + int(event["encodedDataLength"])

        network.on("Network.requestWillBeSent", begun)
        network.on("Network.loadingFinished", over)
        network.on("Network.loadingFailed", over)

    def _console(self, message: ConsoleMessage) -> None:
        if message.type == "error":
            self.wrong.append(f"console: {message.text}")

    def _failed(self, request: Request) -> None:
        # What a newer change replaces is given up by the page itself.
        given_up = request.failure == "net::ERR_ABORTED" and "/api/" in request.url
        # A download is taken out of the page's hands.
        if not given_up and "/files/" not in request.url:
            self.wrong.append(f"failed: {request.url}: {request.failure}")

    def _answered(self, response: Response) -> None:
        if response.status >= 400:
            self.wrong.append(f"{response.status}: {response.url}")

    def assert_clean(self, *, allowed: str = "") -> None:
        """Nothing went wrong but what fits a pattern, and nothing was asked of anyone but the server."""
        unexpected = [line for line in self.wrong if not (allowed and re.search(allowed, line))]
        assert not unexpected, "\n".join(unexpected)
        foreign = [
            url
            for url in self.urls
            if urlsplit(url).scheme not in ("data", "blob") and not url.startswith(self.server.address)
        ]
        assert not foreign
        assert self.urls, "nothing was asked for"

    def open(self) -> Visit:
        """Go to the page and wait for its first picture."""
        self.page.goto(self.server.address, wait_until="commit")
        self.until("window.page && window.page.ready")
        self.idle()
        return self

    @contextmanager
    def beginning(self, text: str) -> Iterator[None]:
        """A test that begins with a design, and in which nothing may go wrong."""
        self.write(text)
        self.settled()
        yield
        self.assert_clean()

    # -- what is waited for

    def until(self, expression: str, argument: object = None) -> None:
        """Wait until something is true in the page, where no text may become a script."""
        end = time.monotonic() + PATIENCE
        while not self.page.evaluate(expression, argument):
            assert time.monotonic() < end, f"not within {PATIENCE} s: {expression}"
            self.page.wait_for_timeout(25)

    def idle(self) -> None:
        """Wait until nothing is asked or waited for any more: the full answer to the newest change is there.

        A full answer is asked at the latest 350 ms after a change, so that quiet for longer is the end.
        """
        end = time.monotonic() + PATIENCE
        quiet_since = time.monotonic()
        while time.monotonic() < end:
            if self.asking or self.page.locator("#busy").is_visible():
                quiet_since = time.monotonic()
            elif time.monotonic() - quiet_since > 0.45:
                return
            self.page.wait_for_timeout(40)
        raise AssertionError(f"still busy after {PATIENCE} s: {self.asking}")

    def settled(self) -> None:
        """Wait for the full answer to the newest change, and for it to be drawn.

        A change makes what is shown a glance at once, until its full answer is there.
        """
        there = (
            "document.querySelector('#verdict').dataset.quick === 'false'"
            " && !document.querySelector('#busy').checkVisibility()"
        )
        end = time.monotonic() + PATIENCE
        while self.asking or not self.page.evaluate(there):
            assert time.monotonic() < end, f"still busy after {PATIENCE} s: {self.asking}"
            self.page.wait_for_timeout(30)
        assert self.no_errors(), self.errors()

    # -- what is read

    def headline(self) -> str:
        """The verdict in one sentence, as shown."""
        return self.page.locator("#headline").inner_text()

    def fact(self, name: str) -> str:
        """One of the numbers under the verdict, in words without those in inches; empty when not told."""
        fact = self.page.locator(f"#fact-{name} dd > span").first
        return fact.inner_text() if fact.count() else ""

    def number(self, name: str) -> int:
        """One of them that is a whole number."""
        return int(self.fact(name).replace(",", ""))

    def text(self) -> str:
        """The design as text."""
        return self.page.locator("#design-text").input_value()

    def errors(self) -> list[tuple[int | None, str]]:
        """What is wrong with the text: the line, and words."""
        self.idle()
        found = []
        for one in self.page.locator("#text-wrong li").all():
            button = one.get_by_role("button")
            line = int(button.inner_text().split()[-1]) if button.count() else None
            found.append((line, one.inner_text()))
        return found

    def no_errors(self) -> bool:
        """Whether nothing is said to be wrong with the text."""
        area = self.page.locator("#design-text")
        return (
            self.page.locator("#text-wrong li").count() == 0 and area.get_attribute("aria-invalid") != "true"
        )

    def marked_lines(self) -> list[int]:
        """The lines of the text that are marked as wrong, from 1."""
        marked = self.page.locator(".gutter > .marked").all_inner_texts()
        assert self.page.locator(".line-marks > .marked").count() == len(marked)
        return [int(text.split()[-1]) for text in marked]

    def labels(self) -> list[str]:
        """The labels in the view, those that are seen."""
        return self.page.locator("#view-labels .mark-label").filter(visible=True).all_inner_texts()

    def pixels(self, canvas: str = "#view") -> NDArray[np.int64]:
        """The picture that is drawn in a canvas, without anything that lies over it: rows, columns, RGB.

        It is taken once it is still, for what stands below it may change its height.
        """
        place, before = self.page.locator(canvas), ""
        for _ in range(20):
            picture = place.evaluate("canvas => canvas.toDataURL('image/png')")
            if picture == before:
                break
            before = picture
            self.page.wait_for_timeout(80)
        with Image.open(io.BytesIO(base64.b64decode(before.partition(",")[2]))) as image:
            return np.asarray(image.convert("RGB"), dtype=np.int64)

    def watch(self) -> None:
        """From now on keep whether what is shown is a glance: see `seen`."""
        self.page.evaluate(
            """() => {
              const verdict = document.querySelector('#verdict');
              window.seen = [];
              new MutationObserver(() => window.seen.push(verdict.dataset.quick))
                .observe(verdict, { attributeFilter: ['data-quick'] });
            }"""
        )

    def seen(self) -> list[str]:
        """What was shown since `watch`: ``true`` for a glance, ``false`` for a full answer."""
        return list(self.page.evaluate("window.seen"))

    # -- what is done

    def pick(self, label: str, option: str) -> None:
        """Choose one of a list."""
        self.page.get_by_role("combobox", name=label, exact=True).select_option(label=option)

    def press(self, name: str) -> None:
        """Press a button."""
        self.page.get_by_role("button", name=name, exact=True).click()

    def tick(self, name: str) -> None:
        """Choose one of a few that are all seen."""
        # The round button itself is hidden behind its words.
        self.page.get_by_role("radio", name=name, exact=True).check(force=True)

    def rest(self, scene: str) -> str:
        """Let the piece come to rest; the words told of it."""
        self.page.locator(f"[data-scene='{scene}']").click()
        words = self.page.locator("#rest-words")
        words.wait_for()
        return self.page.locator("#rest").inner_text()

    def lines_of(self, path: str, act: Callable[[], object]) -> list[dict[str, Any]]:
        """The lines that an answer came in, while something is done that asks for it."""
        # Long streams are not kept by the browser's tools: the page reads a copy.
        self.page.evaluate(
            """path => {
              const own = window.fetch;
              window.copies = [];
              window.fetch = async (...asked) => {
                const answer = await own(...asked);
                if (asked[0] === path) answer.clone().text().then(text => window.copies.push(text));
                return answer;
              };
            }""",
            path,
        )
        act()
        self.until("window.copies.length === 1")
        return [json.loads(line) for line in self.page.evaluate("window.copies[0]").splitlines()]

    def make_files(self) -> None:
        """Have everything made that may be ticked."""
        for tick in self.page.locator("[id^=make-][type=checkbox]").all():
            tick.check()
        self.page.locator("#make-files").click()
        self.page.locator("#files-zip").wait_for()

    def files_listed(self) -> list[str]:
        """The files that are offered, by their paths."""
        links = self.page.locator("#files-list [data-file]").all()
        return [link.get_attribute("data-file") or "" for link in links]

    def file_link(self, path: str) -> Locator:
        """The link to a file that is offered."""
        return self.page.locator(f"#files-list [data-file='{path}']")

    def download(self, start: str, end: str, folder: Path) -> Path:
        """Download the first file offered whose path starts and ends so."""
        path = next(path for path in self.files_listed() if path.startswith(start) and path.endswith(end))
        return self.downloaded(self.file_link(path), folder)

    def download_all(self, folder: Path) -> Path:
        """Download everything in one."""
        return self.downloaded(self.page.locator("#files-zip"), folder)

    def keep(self) -> None:
        """Keep the variant that is shown for comparing."""
        self.page.locator("#keep").click()

    @contextmanager
    def compared(self) -> Iterator[Locator]:
        """The variants side by side, drawn; closed afterwards."""
        self.page.locator("#compare-open").click()
        dialog = self.page.locator("#compare-dialog")
        dialog.locator(".variant canvas").first.wait_for()
        self.page.wait_for_timeout(500)
        yield dialog.locator(".variant")
        if dialog.is_visible():
            self.page.keyboard.press("Escape")
        dialog.wait_for(state="hidden")

    def working(self) -> Locator:
        """What the program is at, once it says so."""
        words = self.page.locator("#busy-words")
        words.wait_for(state="visible")
        return words

    def banner(self) -> str:
        """What is told across the page, once it is."""
        banner = self.page.locator("#banner")
        banner.wait_for(state="visible")
        return banner.inner_text()

    def write(self, text: str) -> None:
        """Write all of the design's text anew."""
        area = self.page.locator("#design-text")
        # Folded away on small screens.
        area.evaluate("area => { area.closest('details').open = true; }")
        area.fill(text)
        area.blur()

    def box(self, label: str) -> Locator:
        """A box by its whole label."""
        return self.page.get_by_role("textbox", name=label, exact=True)

    def slider(self, label: str) -> Locator:
        """The slider of a box."""
        return self.page.get_by_role("slider", name=f"{label}, slider", exact=True)

    def type(self, label: str, value: str) -> None:
        """Type a value into a box and be done with it."""
        box = self.box(label)
        box.fill(value)
        box.press("Enter")

    def nudge(self, label: str, key: str, times: int) -> None:
        """Move a slider by a key."""
        slider = self.slider(label)
        slider.focus()
        for _ in range(times):
            slider.press(key)

    def choose(self, name: str) -> None:
        """Choose an entry of the catalogue from its picture."""
        before = self.text()
        with self.catalogue() as catalogue:
            catalogue.card(name).click()
        self.until("before => document.querySelector('#design-text').value !== before", before)

    @contextmanager
    def catalogue(self) -> Iterator[Catalogue]:
        """The catalogue, opened, and closed afterwards if it is still open."""
        self.page.locator("#choose").click()
        dialog = self.page.locator("#choose-dialog")
        dialog.wait_for(state="visible")
        yield Catalogue(dialog)
        if dialog.is_visible():
            dialog.get_by_role("button", name="Close", exact=True).click()
        dialog.wait_for(state="hidden")

    def open_files(self, *paths: Path) -> None:
        """Open a design and the files beside it."""
        with self.page.expect_file_chooser() as chooser:
            self.page.locator("#open").click()
        chooser.value.set_files(list(paths))

    def drop_files(self, *paths: Path) -> None:
        """Drop a design and the files beside it on the page."""
        self.page.evaluate(
            """files => {
              const dataTransfer = new DataTransfer();
              for (const [name, text] of files) dataTransfer.items.add(new File([text], name));
              const place = document.querySelector('#view');
              for (const kind of ['dragover', 'drop'])
                place.dispatchEvent(new DragEvent(kind, { dataTransfer, bubbles: true, cancelable: true }));
            }""",
            [[path.name, path.read_text(encoding="utf-8")] for path in paths],
        )

    @contextmanager
    def slow_answers(self, seconds: float) -> Iterator[None]:
        """Every answer of the server comes later than it would."""
        self.page.evaluate(
            """wait => {
              window.ownFetch = window.fetch;
              window.fetch = async (...asked) => {
                const answer = await window.ownFetch(...asked);
                await new Promise(done => setTimeout(done, wait));
                return answer;
              };
            }""",
            1000.0 * seconds,
        )
        yield
        self.page.evaluate("() => { window.fetch = window.ownFetch; }")

    def downloaded(self, press: Locator, folder: Path) -> Path:
        """What comes when something is pressed."""
        with self.page.expect_download() as download:
            press.click()
        path = folder / download.value.suggested_filename
        download.value.save_as(path)
        return path

    def save(self, folder: Path) -> Path:
        """The design as it is saved."""
        return self.downloaded(self.page.locator("#save"), folder)

    def shot(self, name: str) -> None:
        """A screenshot, where they are kept."""
        if folder := _kept():
            self.page.screenshot(path=folder / f"{name}.png")

    def note(self, name: str, measured: object) -> None:
        """What was measured and is not asserted, beside the screenshots."""
        if folder := _kept():
            (folder / f"{name}.json").write_text(json.dumps(measured, indent=1))


def _kept() -> Path | None:
    """Where screenshots and measurements are kept; None for nowhere."""
    if not (place := os.environ.get("PAGE_SHOTS")):
        return None
    folder = Path(place)
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def drawn(pixels: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which pixels of a picture are not background, which changes only from row to row."""
    return (np.abs(pixels - pixels[:, :1]) > 24).any(axis=2)


class Catalogue:
    """The catalogue while it is open."""

    def __init__(self, dialog: Locator) -> None:
        self.dialog = dialog

    def card(self, name: str) -> Locator:
        """The picture of an entry, to press."""
        return self.dialog.locator(f"[data-choice='{name}']")

    def entries(self) -> list[str]:
        """The entries that are shown, by name."""
        cards = self.dialog.locator("[data-choice]:visible").all()
        return [card.get_attribute("data-choice") or "" for card in cards]

    def search(self, words: str) -> None:
        """Look for words."""
        self.dialog.get_by_role("searchbox").fill(words)

    def pictures_missing(self) -> list[str]:
        """Addresses of pictures that did not come, once all had to be shown."""
        return self.dialog.evaluate(
            """async dialog => {
              const pictures = [...dialog.querySelectorAll('img')];
              for (const one of pictures) { one.loading = 'eager'; await one.decode().catch(() => {}); }
              return pictures.filter(one => one.naturalWidth === 0).map(one => one.src);
            }"""
        )


@contextmanager
def visiting(
    browser: Browser,
    server: Server,
    *,
    size: tuple[int, int] = (1000, 700),
    dark: bool = False,
    touch: bool = False,
    sharp: bool = False,
    allowed: str = "",
) -> Iterator[Visit]:
    """A tab of its own; afterwards nothing may have gone wrong in it but what fits ``allowed``.

    Unless it is ``sharp`` a pixel of its screen is two of CSS wide and high.
    """
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]},
        device_scale_factor=1.0 if sharp or _kept() else 0.5,
        color_scheme="dark" if dark else "light",
        has_touch=touch,
        reduced_motion="reduce",
        accept_downloads=True,
    )
    visit = Visit(context.new_page(), server)
    try:
        yield visit
        visit.assert_clean(allowed=allowed)
    finally:
        context.close()
