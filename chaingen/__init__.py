"""Chains of wire rings: from a readable design file to placed, checked, pictured and exported pieces.

    import chaingen as cg
    design = cg.load_design("examples/two-in-one.toml")
    result = cg.build(design)
    print(result.fit, result.check.smallest_gap)
    cg.export(result, Path("out"))

Names are loaded when they are first used, so that importing the package costs nothing.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from chaingen.design.design import Design
    from chaingen.design.load import load_design, parse_design
    from chaingen.errors import BadInput, ChaingenError
    from chaingen.geometry.rings import Rings
    from chaingen.make.result import Result
    from chaingen.pipeline import build, export, size_overview
    from chaingen.solve.check import check
    from chaingen.weave.graph import LinkGraph

_HOME = {
    "BadInput": "errors",
    "ChaingenError": "errors",
    "Design": "design.design",
    "LinkGraph": "weave.graph",
    "Result": "make.result",
    "Rings": "geometry.rings",
    "build": "pipeline",
    "check": "solve.check",
    "load_design": "design.load",
    "export": "pipeline",
    "parse_design": "design.load",
    "size_overview": "pipeline",
}

__all__ = [
    "BadInput",
    "ChaingenError",
    "Design",
    "LinkGraph",
    "Result",
    "Rings",
    "build",
    "check",
    "export",
    "load_design",
    "parse_design",
    "size_overview",
]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(f"chaingen.{_HOME[name]}"), name)
    raise AttributeError(f"module 'chaingen' has no attribute {name!r}")
