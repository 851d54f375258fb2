"""Whether there is a screen to open a window on."""

import os
import sys

from chaingen.errors import CannotDraw


def require_screen() -> None:
    """Make sure that a window can be opened.

    Raises:
        CannotDraw: There is no screen.
    """
    shown = os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    if sys.platform.startswith("linux") and not shown:
        raise CannotDraw(
            "a window needs a screen, and none was found; chaingen make draws pictures without one"
        )
