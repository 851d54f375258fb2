"""Chains of wire rings and findings: from a readable design file to placed, checked and exported pieces.

    import chaingen as cg
    design = cg.load_design("examples/two-in-one.toml")
    result = cg.drape(cg.build(design))
    print(result.fit, result.check.smallest_gap)
    cg.export(result, Path("out"))

Names are loaded when they are first used, so that importing the package costs nothing.
"""

import os
import tempfile
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from chaingen.design.design import Design
    from chaingen.design.load import load_design, parse_design
    from chaingen.errors import BadInput, ChaingenError
    from chaingen.findings.finding import Finding
    from chaingen.geometry.bodies import Bodies
    from chaingen.make.result import Result
    from chaingen.pipeline import build, drape, export, for_service, plan, size_overview
    from chaingen.solve.check import check
    from chaingen.weave.graph import LinkGraph

_HOME = {
    "BadInput": "errors",
    "ChaingenError": "errors",
    "Design": "design.design",
    "Finding": "findings.finding",
    "LinkGraph": "weave.graph",
    "Result": "make.result",
    "Bodies": "geometry.bodies",
    "build": "pipeline",
    "check": "solve.check",
    "drape": "pipeline",
    "load_design": "design.load",
    "export": "pipeline",
    "parse_design": "design.load",
    "plan": "pipeline",
    "for_service": "pipeline",
    "size_overview": "pipeline",
}

__all__ = [
    "BadInput",
    "Bodies",
    "ChaingenError",
    "Design",
    "Finding",
    "LinkGraph",
    "Result",
    "build",
    "check",
    "drape",
    "export",
    "for_service",
    "load_design",
    "parse_design",
    "plan",
    "size_overview",
]


def _keep_kernels() -> None:
    """See to it that compiled kernels have a folder to be kept in.

    They are kept beside the package or in the user's cache. Where neither can be written, as in a locked-down
    installation without a home, a folder of this user's among the temporary files serves.
    """
    home = Path.home() if os.environ.get("HOME") else None
    here = Path(__file__).parent
    places = [here / "geometry", *([home / ".cache", home] if home else [])]
    if os.environ.get("NUMBA_CACHE_DIR") or any(p.is_dir() and os.access(p, os.W_OK) for p in places[:2]):
        return
    if home and not (home / ".cache").exists() and os.access(home, os.W_OK):
        return
    user = os.getuid() if hasattr(os, "getuid") else 0
    folder = Path(tempfile.gettempdir()) / f"chaingen-kernels-{user}"
    with suppress(OSError):
        folder.mkdir(mode=0o700, exist_ok=True)
    if not (folder.is_dir() and os.access(folder, os.W_OK) and folder.stat().st_uid == user):
        folder = Path(tempfile.mkdtemp(prefix="chaingen-kernels-"))
    os.environ["NUMBA_CACHE_DIR"] = str(folder)


if os.name == "posix":
    _keep_kernels()


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(f"chaingen.{_HOME[name]}"), name)
    raise AttributeError(f"module 'chaingen' has no attribute {name!r}")
