"""What must hold of a printed sheet, whoever made the PDF: read by programs that wrote neither.

Boxes are (left, bottom, right, top) in points from the lower left corner of the page.
"""

import re

import numpy as np
import pypdfium2
import pypdfium2.raw as raw
import zxingcpp

MM = 72 / 25.4
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1, sheet A


def opened(path):
    return pypdfium2.PdfDocument(path)


def squeezed(text):
    """A text without white space, and without the marks at which a word may be broken."""
    return re.sub(r"[\s\u00ad\u200b\ufffe]", "", text)


def page_texts(pdf):
    return [pdf[k].get_textpage().get_text_range() for k in range(len(pdf))]


def letters(page):
    """Every letter of a page that shows, its box of ink, shape (n, 4), and the height of its line."""
    text = page.get_textpage()
    found, boxes, baselines = [], [], []
    for at in range(text.count_chars()):
        letter = text.get_text_range(at, 1)
        if not letter.strip() or raw.FPDFText_IsGenerated(text, at):
            continue
        x, y = raw.c_double(), raw.c_double()
        raw.FPDFText_GetCharOrigin(text, at, x, y)
        found.append(letter)
        boxes.append(text.get_charbox(at))
        baselines.append(y.value)
    return found, np.array(boxes).reshape(-1, 4), np.array(baselines)


def images(page):
    """Boxes of the pictures on a page, with their width in pixels."""
    found = []
    for thing in page.get_objects(filter=[raw.FPDF_PAGEOBJ_IMAGE], max_depth=6):
        matrix = thing.get_matrix()
        parent = thing.container
        while parent is not None:
            matrix = matrix.multiply(parent.get_matrix())
            parent = parent.container
        corners = [matrix.on_point(x, y) for x in (0, 1) for y in (0, 1)]
        xs, ys = zip(*corners, strict=True)
        found.append(((min(xs), min(ys), max(xs), max(ys)), thing.get_px_size()[0]))
    return found


def overlaps(boxes, others, slack):
    """Pairs of boxes that share more than `slack` points both ways."""
    wide = np.minimum(boxes[:, None, 2], others[None, :, 2]) - np.maximum(
        boxes[:, None, 0], others[None, :, 0]
    )
    high = np.minimum(boxes[:, None, 3], others[None, :, 3]) - np.maximum(
        boxes[:, None, 1], others[None, :, 1]
    )
    return np.argwhere((wide > slack) & (high > slack))


def assert_paper(pdf, paper):
    for page in pdf:
        size = np.array(page.get_size()) / MM
        # Browsers round the paper to whole pixels, 96 to the inch.
        assert np.abs(size - PAPERS[paper]).max() < 0.5, size


def assert_nothing_cut(pdf):
    """Letters and pictures are within the side margins of 18 mm, and 8 mm off the other edges."""
    for number, page in enumerate(pdf, 1):
        width, height = page.get_size()
        found, boxes, _ = letters(page)
        boxes = np.vstack([boxes, *[np.array(box)[None] for box, _ in images(page)]])
        assert len(found) > 20, f"page {number} is all but empty"
        out = np.array([18 * MM, 8 * MM, width - 18 * MM, height - 8 * MM]) + 0.6 * np.array([-1, -1, 1, 1])
        bad = (boxes[:, :2] < out[:2]).any(axis=1) | (boxes[:, 2:] > out[2:]).any(axis=1)
        assert not bad.any(), (
            f"page {number}: {''.join(np.array([*found, *'▮' * 99])[: len(bad)][bad])!r} is cut"
        )


def assert_nothing_overlaps(pdf):
    """No letter touches one of another line or lies on a picture, no picture lies on another."""
    for number, page in enumerate(pdf, 1):
        found, boxes, baselines = letters(page)
        for one, other in overlaps(boxes, boxes, 0.25):
            # Neighbours in a line may reach under one another, and an accent stands on its letter.
            if one < other and abs(baselines[one] - baselines[other]) > 0.5:
                raise AssertionError(
                    f"page {number}: {found[one]!r} and {found[other]!r} overlap at {boxes[one]}"
                )
        pictures = np.array([box for box, _ in images(page)]).reshape(-1, 4)
        assert not len(overlaps(boxes, pictures, 0.25)), f"page {number}: words on a picture"
        assert len(overlaps(pictures, pictures, 0.25)) == len(pictures), f"page {number}: pictures overlap"


def assert_fine_pictures(pdf, count):
    """As many pictures as were given, each with 200 pixels to the inch or more."""
    found = [image for page in pdf for image in images(page)]
    assert len(found) == count
    for (left, _, right, _), across in found:
        fine = across / ((right - left) / 72)
        assert fine >= 200.0, f"{fine:.0f} pixels to the inch"


def texts_of(document):
    """Every text of a document that is set, block by block, in order."""
    for block in document.blocks:
        kind = type(block).__name__
        if kind in {"Heading", "Paragraph"}:
            yield block.text
        elif kind == "Table":
            yield from (
                block.caption,
                *block.head,
                *(cell for row in block.rows for cell in row),
                *block.notes,
            )
        elif kind in {"Figure", "Code"}:
            yield block.caption
        elif kind == "Instructions":
            yield from (line.text for line in block.lines)
        else:
            yield from block.items


def assert_all_said(pdf, document):
    """Every word comes out as typed; headings, paragraphs, captions and notes whole and in their order.

    Cells that stand side by side may be read line by line, so of them each word is looked for.
    """
    foot = squeezed(document.foot)
    pages = [
        squeezed(text).replace(foot, "").replace(f"{number}/{len(pdf)}", "")
        for number, text in enumerate(page_texts(pdf), 1)
    ]
    said = "".join(pages)
    for text in (document.title, document.subtitle, *texts_of(document)):
        for word in text.split():
            assert squeezed(word) in said, f"{word!r} of {text!r} is missing"
    at = 0
    for text in (document.title, document.subtitle, *ordered_texts(document)):
        at = said.find(squeezed(text), at)
        assert at >= 0, f"{text!r} is missing, or out of order"


def ordered_texts(document):
    for block in document.blocks:
        if type(block).__name__ in {"Heading", "Paragraph"}:
            yield block.text
        elif type(block).__name__ == "Table":
            yield block.caption
            yield from block.notes


def assert_code_reads(pdf, text, modules):
    """The one QR code, drawn as a telephone may see it, holds the text; its modules are 0.4 mm or more."""
    kind = zxingcpp.BarcodeFormat.QRCode
    pictures = [page.render(scale=200 / 72).to_pil() for page in pdf]
    (read,) = (code for picture in pictures for code in zxingcpp.read_barcodes(picture, formats=kind))
    assert read.text == text
    left, right = read.position.top_left, read.position.top_right
    assert np.hypot(right.x - left.x, right.y - left.y) / 200 * 25.4 / modules >= 0.4


def assert_heads_repeat(pdf, head, rows):
    """Every page that holds a row of a table has the heads above it; returns the number of such pages."""
    pages = [squeezed(text) for text in page_texts(pdf)]
    head, rows = squeezed("".join(head)), [squeezed("".join(row)) for row in rows]
    holding = [[page.find(row) for row in rows if row in page] for page in pages]
    assert sum(len(places) for places in holding) >= len(rows)
    for page, places in zip(pages, holding, strict=True):
        if places:
            assert 0 <= page.find(head) < min(places)
    return sum(bool(places) for places in holding)


def assert_renders(pdf):
    """Every page is drawn at 110 dots to the inch, neither blank nor full."""
    for page in pdf:
        dark = np.asarray(page.render(scale=110 / 72).to_pil().convert("L")) < 128
        assert 0.002 < dark.mean() < 0.5
