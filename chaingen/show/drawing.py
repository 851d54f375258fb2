"""Whether pictures can be drawn here, and pyvista made ready to draw them.

Off screen VTK draws through EGL (or OSMesa). With neither library it ends the whole process instead of
raising, so the libraries are looked for first, and EGL is asked for a display before VTK is.
"""

import ctypes
import os
import sys
from functools import cache
from typing import Any

from chaingen.errors import CannotDraw

INSTALL = (
    "pictures need an OpenGL library with EGL; on Debian or Ubuntu: "
    "apt install libegl1 libgl1 libgl1-mesa-dri; everything else is made without it"
)


def _load(*names: str) -> Any:
    for name in names:
        try:
            return ctypes.CDLL(name)
        except OSError:
            continue
    return None


def _egl_works() -> bool:
    """Whether libEGL is there and can open a display."""
    egl = _load("libEGL.so.1", "libEGL.so")
    if egl is None or _load("libGL.so.1", "libOpenGL.so.0") is None:
        return False
    # Screens aside: a display of the surfaceless or device platform is what off-screen drawing uses.
    surfaceless, device = 0x31DD, 0x313F
    try:
        get = egl.eglGetProcAddress
        get.restype = ctypes.c_void_p
        get.argtypes = [ctypes.c_char_p]
        address = get(b"eglGetPlatformDisplayEXT")
        if not address:
            return False
        platform_display = ctypes.CFUNCTYPE(ctypes.c_void_p, ctypes.c_uint, ctypes.c_void_p, ctypes.c_void_p)(
            address
        )
        egl.eglInitialize.argtypes = [ctypes.c_void_p, ctypes.c_void_p, ctypes.c_void_p]
        egl.eglInitialize.restype = ctypes.c_uint
        return any(
            bool(display) and bool(egl.eglInitialize(display, None, None))
            for display in (platform_display(platform, None, None) for platform in (surfaceless, device))
        )
    except (AttributeError, OSError, ValueError):
        return False


@cache
def require_drawing() -> None:
    """Make sure that pictures can be drawn.

    Raises:
        CannotDraw: They cannot; the message says what to install.
    """
    if not sys.platform.startswith("linux"):
        return
    if _egl_works() or _load("libOSMesa.so.8", "libOSMesa.so.6", "libOSMesa.so") is not None:
        return
    raise CannotDraw(INSTALL)


def pyvista_off_screen() -> Any:
    """The pyvista module, ready to draw without a screen.

    Raises:
        CannotDraw: See `require_drawing`.
    """
    require_drawing()
    if sys.platform.startswith("linux"):
        kind = "vtkEGLRenderWindow" if _egl_works() else "vtkOSOpenGLRenderWindow"
        os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", kind)
    import pyvista

    return pyvista
