"""The page's own files: all that is named is there, nothing comes from elsewhere, and all of it is light."""

import gzip
import re
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path

import pytest

ASSETS = Path(str(files("chaingen.page"))) / "assets"
PAGE = (ASSETS / "index.html").read_text(encoding="utf-8")
SCRIPTS = sorted(path for path in ASSETS.glob("*.js") if path.name != "three.js")
SHEETS = sorted(ASSETS.glob("*.css"))

MOST_WEIGHT = 400_000
"""What the first opening loads, compressed, must stay below this [bytes]."""

MOST_LINES = 300
"""Lines of a script of the page."""

PACKED = {".woff2", ".webp", ".png"}
"""Files that are compressed already."""


class Tags(HTMLParser):
    """All tags with their attributes, and the text within scripts and styles."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.inline: list[str] = []
        self._in = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._in = tag

    def handle_endtag(self, tag: str) -> None:
        self._in = ""

    def handle_data(self, data: str) -> None:
        if self._in in ("script", "style") and data.strip():
            self.inline.append(data)


def named_in(text: str) -> set[str]:
    """Assets that a file names, by the name within the folder."""
    return set(re.findall(r"/assets/([A-Za-z0-9_./-]+)", text))


def imports_of(path: Path) -> set[str]:
    """Modules that a script imports, always or when it needs them."""
    text = path.read_text(encoding="utf-8")
    found = re.findall(r"""(?:\bfrom\s*|\bimport\s*\(?\s*)["']([^"']+)["']""", text)
    for one in found:
        assert one.startswith(("/assets/", "./")), f"{path.name} imports {one}"
    return {one.removeprefix("/assets/").removeprefix("./") for one in found}


def first_opening() -> set[str]:
    """Everything the browser fetches before the maker does anything, pictures to choose from left out."""
    found = named_in(PAGE)
    waiting = set(found)
    while waiting:
        path = ASSETS / waiting.pop()
        if path.suffix == ".js":
            more = imports_of(path)
        elif path.suffix == ".css":
            more = named_in(path.read_text(encoding="utf-8"))
        else:
            more = set()
        waiting |= more - found
        found |= more
    return found


def test_all_that_is_named_is_there() -> None:
    named = first_opening()
    assert {"main.js", "view.js", "three.js", "page.css"} <= named
    missing = [name for name in sorted(named) if not (ASSETS / name).is_file()]
    assert not missing


def test_no_script_is_left_over() -> None:
    assert {path.name for path in SCRIPTS} <= first_opening()


def test_what_the_first_opening_loads_is_light() -> None:
    weights = {}
    for name in first_opening():
        data = (ASSETS / name).read_bytes()
        weights[name] = len(data) if (ASSETS / name).suffix in PACKED else len(gzip.compress(data))
    weights["index.html"] = len(gzip.compress(PAGE.encode()))
    assert sum(weights.values()) < MOST_WEIGHT, weights


@pytest.mark.parametrize("path", [ASSETS / "index.html", *SCRIPTS, *SHEETS], ids=lambda path: path.name)
def test_nothing_comes_from_elsewhere(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    # The name of the SVG namespace is no address that anything is fetched from.
    addresses = set(re.findall(r"(?:https?:)?//[A-Za-z0-9-]+\.[a-z][^\s\"'`)]*", text))
    assert addresses <= {"http://www.w3.org/2000/svg"}
    for word in ("sendBeacon", "XMLHttpRequest", "WebSocket", "EventSource", "serviceWorker"):
        assert word not in text
    for called in re.findall(r"\bfetch\(([^,)]*)", text):
        assert called == "path"


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_scripts_keep_to_the_policy_and_are_short(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    code = re.sub(r"^\s*(//|\*|/\*).*$", "", text, flags=re.MULTILINE)
    for word in (
        "eval(",
        "new Function",
        "innerHTML",
        "outerHTML",
        "insertAdjacentHTML",
        "document.write",
        'setAttribute("style"',
    ):
        assert word not in code
    assert len(text.splitlines()) <= MOST_LINES
    assert max(map(len, text.splitlines())) <= 140


def test_no_script_or_style_stands_in_the_page() -> None:
    tags = Tags(PAGE)
    assert not tags.inline
    for tag, attributes in tags.tags:
        assert "style" not in attributes, tag
        assert not [name for name in attributes if name.startswith("on")], tag
        if tag == "script":
            assert attributes.get("type") == "module"


def test_ids_are_unique_and_those_named_are_there() -> None:
    tags = Tags(PAGE).tags
    ids = [attributes["id"] for _, attributes in tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    for _, attributes in tags:
        for name in ("for", "aria-labelledby", "aria-describedby"):
            for one in (attributes.get(name) or "").split():
                assert one in ids, one
        if (attributes.get("href") or "").startswith("#"):
            assert (attributes["href"] or "")[1:] in ids


def test_scripts_ask_for_ids_that_are_there() -> None:
    """Every id that a script looks up stands in the page or is made by a script."""
    scripts = "\n".join(path.read_text(encoding="utf-8") for path in SCRIPTS)
    ids = {attributes.get("id") for _, attributes in Tags(PAGE).tags}
    ids |= set(re.findall(r"""\bid: ["']([^"']+)["']""", scripts))
    asked = set(re.findall(r"""byId\(["']([^"']+)["']\)""", scripts))
    assert len(asked) > 20
    assert asked <= ids


def test_everything_to_press_has_a_name() -> None:
    """Buttons of the page have words in them; boxes have a label."""
    labels = {attributes.get("for") for tag, attributes in Tags(PAGE).tags if tag == "label"}
    for tag, attributes in Tags(PAGE).tags:
        if tag in ("input", "select", "textarea"):
            assert attributes["id"] in labels or attributes.get("aria-label")
    assert not re.search(r"<button[^>]*>\s*</button>", PAGE)
    assert re.search(r'<html lang="en-GB">', PAGE)


def luminance(colour: str) -> float:
    """Relative luminance of #rrggbb (WCAG 2.2, "relative luminance")."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours (WCAG 2.2, "contrast ratio")."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_reckoned_as_the_standard_says() -> None:
    """Black on white is 21:1; #767676 is the lightest grey of 4.5:1 on white (W3C, Understanding 1.4.3)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
def test_colours_can_be_told_apart(scheme: int) -> None:
    """Text 4.5:1 and edges of controls 3:1 on all they stand on (WCAG 2.2, 1.4.3 and 1.4.11)."""
    text = (ASSETS / "page.css").read_text(encoding="utf-8")
    pairs = re.findall(r"--([a-z-]+): light-dark\((#[0-9a-f]{6}), (#[0-9a-f]{6})\)", text)
    colours = {name: values[scheme] for name, *values in pairs}
    for ground in ("bench", "card", "raised"):
        for ink in ("ink", "soft", "accent", "good", "mind", "bad"):
            assert contrast(colours[ink], colours[ground]) >= 4.5, (ink, ground)
        assert contrast(colours["edge"], colours[ground]) >= 3.0, ground
    assert contrast(colours["ink"], colours["bad-wash"]) >= 4.5
    assert contrast(colours["accent"], colours["wash"]) >= 4.5
    assert contrast(colours["on-accent"], colours["accent"]) >= 4.5
