import csv
import io
import re
from dataclasses import replace

import html5lib
import numpy as np
import pytest
import zxingcpp
from PIL import Image

from chaingen.show.sheet import arrange, code
from chaingen.show.sheet.document import (
    Code,
    Document,
    Figure,
    Heading,
    Instruction,
    Instructions,
    Paragraph,
    Table,
)
from chaingen.show.sheet.page import page_text, write_page
from chaingen.show.sheet.spreadsheet import write_csv
from tests.sample_sheet import CYRILLIC_TITLE, DESIGN, LONG_TITLE, SCRIPT_TITLE, TYPED, rings_picture, sample
from tests.sheet_paper import texts_of

HTML = "{http://www.w3.org/1999/xhtml}"


def parsed(text):
    """The tree of a page, read by the letter of the standard: any fault of syntax is an error."""
    parser = html5lib.HTMLParser(strict=True)
    return parser.parse(text)


def words(element):
    """What a reader sees of an element, with its line breaks."""
    said = element.text or ""
    for child in element:
        said += ("\n" if child.tag == HTML + "br" else words(child)) + (child.tail or "")
    return said


def plain(text):
    return text.replace("\u00a0", " ").strip()


@pytest.mark.parametrize("title", ["Harbour bracelet", LONG_TITLE, CYRILLIC_TITLE, SCRIPT_TITLE, TYPED])
def test_page_is_valid_and_says_everything_as_typed(tmp_path, title):
    document = sample(tmp_path, title=title)
    tree = parsed(page_text(document))
    assert plain(words(tree.find(f".//{HTML}title"))) == title
    assert plain(words(tree.find(f".//{HTML}h1"))) == title
    said = " ".join(plain(words(tree.find(f"{HTML}body"))).split())
    at = 0
    for text in texts_of(document):
        place = said.find(" ".join(text.split()), at)
        assert place >= 0, text
        at = place


def test_nothing_runs_and_nothing_is_fetched(tmp_path):
    text = page_text(sample(tmp_path, title=SCRIPT_TITLE))
    tree = parsed(text)
    assert not tree.findall(f".//{HTML}script")
    assert not tree.findall(f".//{HTML}iframe")
    places = [
        value for element in tree.iter() for name, value in element.attrib.items() if name in {"src", "href"}
    ]
    assert len(places) == 14
    assert all(place.startswith("data:") for place in places)
    style = words(tree.find(f".//{HTML}style"))
    assert all(place.startswith("data:font/woff2") for place in re.findall(r'url\("?([^)"]*)', style))
    assert "@import" not in style
    assert not [
        name for element in tree.iter() for name in element.attrib if name.startswith("on") or name == "style"
    ]


def test_page_tells_its_structure(tmp_path):
    document = sample(tmp_path)
    tree = parsed(page_text(document))
    assert tree.get("lang") == "en"
    assert len(tree.findall(f".//{HTML}h1")) == 1
    assert len(tree.findall(f".//{HTML}h2")) == sum(isinstance(block, Heading) for block in document.blocks)
    for table in tree.findall(f".//{HTML}table"):
        assert words(table.find(f"{HTML}caption")).strip()
        heads = table.findall(f"{HTML}thead/{HTML}tr/{HTML}th")
        assert heads
        assert {head.get("scope") for head in heads} == {"col"}
        assert {len(row) for row in table.findall(f"{HTML}tbody/{HTML}tr")} == {len(heads)}
    pictures = tree.findall(f".//{HTML}img")
    assert len(pictures) == 13
    assert all(picture.get("alt") and int(picture.get("width")) >= 700 for picture in pictures)
    steps = [item for item in tree.iter(f"{HTML}li") if item.get("value")]
    assert [step.get("value") for step in steps] == [str(number) for number in range(1, 13)]


def test_foot_cannot_end_its_string(tmp_path):
    foot = 'a"; } body { display: none } </style> \\'
    text = page_text(Document("Title", "", (Paragraph("Words."),), foot=foot))
    rule = re.search(r"@bottom-left \{ content: \"([^\"]*)\"; \}", text)
    assert re.sub(r"\\([0-9a-f]+) ", lambda hit: chr(int(hit[1], 16)), rule[1]) == foot
    assert plain(words(parsed(text).find(f".//{HTML}footer"))) == foot


def test_controls_and_lone_halves_never_reach_a_file(tmp_path):
    title = "A\x00B\x1b[31m\ud800\ufffe\x85C"
    write_page(tmp_path / "page.html", Document(title, "", (Paragraph("one\r\ntwo\tthree"),)))
    tree = parsed((tmp_path / "page.html").read_text(encoding="utf-8"))
    assert words(tree.find(f".//{HTML}h1")) == "AB[31m C"
    assert words(tree.find(f".//{HTML}main/{HTML}p")) == "one\ntwo three"


def test_figures_stay_with_their_units():
    assert arrange.clean("1.0 mm of 5 % for € 3") == "1.0\u00a0mm of 5\u00a0% for € 3"
    assert arrange.clean("4 minutes, 3 men") == "4 minutes, 3 men"


def test_the_page_is_the_same_each_time(tmp_path):
    assert page_text(sample(tmp_path)) == page_text(sample(tmp_path))


@pytest.mark.parametrize("kind", ["png", "jpeg"])
def test_pixels_are_read_from_the_first_bytes(tmp_path, kind):
    path = tmp_path / f"picture.{kind}"
    Image.new("RGB", (731, 411)).save(path)
    assert arrange.pixels(path) == (731, 411)


def test_progressive_jpeg_and_other_files(tmp_path):
    path = tmp_path / "picture.jpg"
    Image.new("RGB", (300, 20)).save(path, progressive=True, comment="x" * 400)
    assert arrange.pixels(path) == (300, 20)
    path.write_bytes(b"GIF89a")
    with pytest.raises(ValueError, match="neither a PNG nor a JPEG"):
        arrange.pixels(path)


def test_a_coarse_picture_is_a_fault_of_ours(tmp_path):
    # 179.9 mm at 200 to the inch are 1,417 pixels.
    enough = rings_picture(tmp_path / "enough.png", 1417, 300, 2)
    page_text(Document("t", "", (Figure(enough, "c"),)))
    few = rings_picture(tmp_path / "few.png", 1416, 300, 2)
    with pytest.raises(AssertionError, match="to the inch"):
        page_text(Document("t", "", (Figure(few, "c"),)))


def test_pictures_lie_abreast_while_they_fit(tmp_path):
    picture = rings_picture(tmp_path / "p.png", 1500, 400, 2)
    widths = [0.5, 0.5, 0.6, 0.5, 0.3, 0.3, 0.4]
    figures = tuple(Figure(picture, str(width), width) for width in widths)
    parts = arrange.parts(Document("t", "", (*figures, Paragraph("words"), figures[0])))
    rows = [[float(one.text) for one in part["pictures"]] for part in parts if part["kind"] == "pictures"]
    assert rows == [[0.5, 0.5], [0.6], [0.5, 0.3], [0.3, 0.4], [0.5]]


def test_a_tall_picture_is_made_narrower(tmp_path):
    picture = rings_picture(tmp_path / "p.png", 700, 1400, 1)
    (part,) = arrange.parts(Document("t", "", (Figure(picture, "c"),)))
    assert part["pictures"][0].part * 179.9 == pytest.approx(50.0)  # half of 100 mm


def test_three_abreast_when_short_two_when_long(tmp_path):
    picture = rings_picture(tmp_path / "p.png", 700, 400, 1)

    def abreast(*texts, pictured=True):
        lines = tuple(
            Instruction(k, text, picture if pictured else None, "a ring") for k, text in enumerate(texts, 1)
        )
        (part,) = arrange.parts(Document("t", "", (Instructions(lines),)))
        return part["abreast"]

    assert [abreast(*["short"] * count) for count in range(1, 8)] == [2, 2, 3, 2, 3, 3, 3]
    assert abreast("long " * 60, *["short"] * 7) == 2
    assert abreast("long " * 60, pictured=False) == 1


def test_short_lines_that_repeat_go_below_the_step_before_them(tmp_path):
    picture = rings_picture(tmp_path / "p.png", 700, 400, 1)

    def laid(*lines):
        told = tuple(
            Instruction(k, text, picture if pictured else None, "a ring" if pictured else "")
            for k, (text, pictured) in enumerate(lines, 1)
        )
        (part,) = arrange.parts(Document("t", "", (Instructions(told),)))
        return [(step["number"], [line["number"] for line in step["after"]]) for step in part["steps"]]

    drawn, short, long = ("Close it.", True), ("Again.", False), ("word " * 30, False)
    assert laid(drawn, short, drawn) == [(1, [2]), (3, [])]
    assert laid(drawn, short, short, drawn) == [(1, [2, 3]), (4, [])]
    assert laid(drawn, short, short, short) == [(1, []), (2, []), (3, []), (4, [])]
    assert laid(drawn, long, drawn) == [(1, []), (2, []), (3, [])]
    assert laid(short, drawn) == [(1, []), (2, [])]


def grid_of(table):
    (part,) = arrange.parts(Document("t", "", (table,)))
    return part["grid"]


def test_lines_of_numbers_are_joined_where_there_is_room():
    cell = "1.024 mm\n18 AWG\n0.0403 in"
    rows = {
        columns: plain(grid_of(Table("c", ("h",) * columns, ((cell,) * columns,), (0,))).rows[0][0])
        for columns in (2, 10)
    }
    assert rows[2] == "1.024 mm · 18 AWG · 0.0403 in"
    numbers = tuple(range(5))
    (row,) = grid_of(Table("c", ("h",) * 5, ((cell,) * 5,), numbers)).rows
    assert {plain(one) for one in row} == {"1.024 mm · 18 AWG\n0.0403 in"}
    (row,) = grid_of(Table("c", ("h",) * 9, ((cell,) * 9,), tuple(range(9)))).rows
    assert {plain(one) for one in row} == {cell}
    # Lines of a text stay as they are.
    assert grid_of(Table("c", ("h",), (("hook\near wire",),))).rows == (("hook\near wire",),)


def test_a_code_lies_beside_a_small_table_before_it():
    small, wide = (Table("c", ("h",) * columns, (("x",) * columns,)) for columns in (2, 3))
    for before, kinds in (
        (small, ["table"]),
        (wide, ["table", "code"]),
        (replace(small, rows=(("x", "y"),) * 40), ["table", "code"]),
        (Paragraph("p"), ["paragraph", "code"]),
    ):
        parts = arrange.parts(Document("t", "", (before, Code(DESIGN, "The design."))))
        assert [part["kind"] for part in parts] == kinds
        code_part = parts[-1] if kinds[-1] == "code" else parts[0]["code"]
        assert code_part["caption"] == "The design."


def test_words_of_tables_are_broken_only_for_want_of_room():
    def longest(columns, word):
        table = Table("c", ("h",) * columns, (("x" * word,) * columns,))
        (part,) = arrange.parts(Document("t", "", (table,)))
        return part["grid"].longest

    assert longest(3, 20) == arrange.LONG_WORD
    for columns in (6, 9, 14):
        most = longest(columns, 30)
        assert 1 <= most < 30
        assert columns * (most * arrange.LETTER_WIDTH + arrange.CELL_PADDING) <= 174.0


@pytest.mark.parametrize("text", ["one", "é ß ½ € Ж 鎖", DESIGN, "a" * 1370, "b" * 1732])
def test_code_reads_back(text):
    """As read by a library that did not write it."""
    assert code.fits(text)
    side = int(re.search(r'viewBox="0 0 (\d+) \1"', code.drawing(text))[1])
    pixels = drawn(code.drawing(text), side)
    (read,) = zxingcpp.read_barcodes(np.kron(pixels, np.ones((4, 4), dtype=np.uint8)))
    assert read.text == text
    assert code.across(text) / side >= 0.4
    assert 26.0 <= code.across(text) <= 65.0
    # The quiet zone is white: four modules, ISO/IEC 18004.
    assert (pixels[:4] == 255).all()
    assert (pixels[4:-4, 4:-4] == 0).any(axis=1).all()


def drawn(svg, side):
    """An SVG of horizontal strokes, one unit thick, as pixels of shape (side, side): its path read slowly."""
    pixels = np.full((side, side), 255, dtype=np.uint8)
    path = re.search(r'stroke="#000" d="([^"]*)"', svg)[1]
    x = y = 0.0
    for letter, numbers in re.findall(r"([Mmh])([^Mmh]*)", path):
        values = [float(number) for number in re.findall(r"-?[\d.]+", numbers)]
        if letter == "h":
            pixels[int(y), int(x) : int(x + values[0])] = 0
            x += values[0]
        else:
            x, y = (values[0], values[1]) if letter == "M" else (x + values[0], y + values[1])
    return pixels


def test_code_takes_what_its_standard_says():
    """Version 30 holds 1,370 bytes at level M and 1,732 at L (ISO/IEC 18004, table 7; from memory)."""
    assert code.fits("x" * 1732)
    assert not code.fits("x" * 1733)
    assert not code.fits("")
    assert "level M" in level("x" * 1370)
    assert "level L" in level("x" * 1371)


def level(text):
    side = int(re.search(r'viewBox="0 0 (\d+)', code.drawing(text))[1])
    (read,) = zxingcpp.read_barcodes(
        np.kron(drawn(code.drawing(text), side), np.ones((4, 4), dtype=np.uint8))
    )
    return f"level {read.ec_level}"


def test_a_text_too_long_for_a_code_is_a_fault_of_ours():
    with pytest.raises(AssertionError, match="does not fit"):
        page_text(Document("t", "", (Code("x" * 1733, "c"),)))


def test_spreadsheet_reads_back_and_runs_nothing(tmp_path):
    rows = [
        ["=1+1", "+SUM(A1)", "-2.5", -2.5],
        ["@x", "-", "+3e2", 12],
        ['says "so", twice', "two\nlines", "é ß ½ € Ø", 0.1],
        ["", "'quoted", "\tx", np.float64(1 / 3)],
        ["-1_000", "- 5", "+inf", 7],
    ]
    write_csv(tmp_path / "table.csv", rows, ["a", "b", "c", "=d"])
    data = (tmp_path / "table.csv").read_bytes()
    # So spreadsheets know that it is UTF-8.
    assert data.startswith("\ufeff".encode())
    lines = data.decode("utf-8-sig").split("\r\n")
    assert lines[0] == "a,b,c,'=d"
    assert lines[-1] == ""
    back = list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""), strict=True))
    assert back[1:] == [
        ["'=1+1", "'+SUM(A1)", "-2.5", "-2.5"],
        ["'@x", "'-", "+3e2", "12"],
        ['says "so", twice', "two\nlines", "é ß ½ € Ø", "0.1"],
        ["", "'quoted", "'\tx", repr(1 / 3)],
        ["'-1_000", "'- 5", "'+inf", "7"],
    ]


def test_spreadsheet_takes_no_uneven_rows(tmp_path):
    with pytest.raises(AssertionError, match="2 fields under 1 heads"):
        write_csv(tmp_path / "table.csv", [["a", "b"]], ["h"])
    with pytest.raises(AssertionError, match="finite"):
        write_csv(tmp_path / "table.csv", [[float("nan")]], ["h"])
    assert not (tmp_path / "table.csv").exists()
