"""A text as a QR code (ISO/IEC 18004), drawn as SVG: for a telephone to read off paper."""

import io

import segno

MOST = 30
"""Largest version taken, 137 modules across; larger ones ask too much of a printer at home (common
practice)."""

QUIET = 4
"""Modules that stay white around the code, as ISO/IEC 18004 asks (from memory)."""

SMALLEST, LARGEST, MODULE = 26.0, 60.0, 0.5
"""A code is as wide as its modules need at `MODULE` mm each, within `SMALLEST` and `LARGEST` [mm]; the
largest version then has modules of 0.413 mm."""


def _code(text: str) -> segno.QRCode | None:
    """The code at the higher level of error correction, M or L, at which it fits; None where it does not.

    Where a text is not all ASCII the code says that it is UTF-8 (ECI 26); readers take bytes for Latin 1
    else.
    """
    if not text:
        return None
    for level in ("m", "l"):
        try:
            code = segno.make_qr(
                text, error=level, boost_error=False, encoding="utf-8", eci=not text.isascii()
            )
        except segno.DataOverflowError:
            continue
        if int(code.version) <= MOST:
            return code
    return None


def fits(text: str) -> bool:
    """Whether a text can be printed as a QR code: 1,732 letters at most, fewer where they are not ASCII."""
    return _code(text) is not None


def across(text: str) -> float:
    """How wide its code is printed, white border and all [mm].

    Args:
        text: A text that fits, see `fits`.
    """
    code = _code(text)
    assert code is not None, "the text does not fit a QR code"
    return min(max(MODULE * code.symbol_size(border=QUIET)[0], SMALLEST), LARGEST)


def drawing(text: str) -> str:
    """Its code as an SVG element, black on white with its white border, one unit to a module.

    Args:
        text: A text that fits, see `fits`.

    Returns:
        An ``svg`` element without a size of its own.
    """
    code = _code(text)
    assert code is not None, "the text does not fit a QR code"
    stream = io.BytesIO()
    code.save(
        stream, kind="svg", border=QUIET, dark="#000", light="#fff", xmldecl=False, svgns=True, omitsize=True,
        svgclass=None, lineclass=None, nl=False,
    )  # fmt: skip
    return stream.getvalue().decode()
