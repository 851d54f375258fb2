"""What a service makes of a piece, and the figures of models, for report.json."""

from collections.abc import Mapping, Sequence
from pathlib import PurePosixPath
from typing import Any

from chaingen.make.result import Result
from chaingen.model.figures import Figures, figures_of
from chaingen.prepare.batch import Batch, Prepared, metal_to_melt
from chaingen.prepare.cast import Sizes
from chaingen.prepare.write import FOLDER
from chaingen.show.rounding import g, mm, size_data
from chaingen.show.service_facts import checks_of, piece_sizes, service_cautions


def service_data(
    result: Result,
    prepared: Prepared | None = None,
    files: Sequence[str] = (),
) -> dict[str, Any] | None:
    """The process, its limits, every check against it, sizes, and what is sent; None without a process.

    Args:
        result: A built piece.
        prepared: The same as prepared for its service; None where nothing is written.
        files: Paths of all files written, relative to the output folder.
    """
    service = result.design.service
    if service is None:
        return None
    names = result.placement.graph.names
    assembled, casts = service.process.assembled, service.process.casts
    cautions = service_cautions(service)
    return {
        "process": service.process.name,
        "route": service.route.value if casts else None,
        "smallest_wire_mm": mm(service.smallest_wire),
        "smallest_gap_mm": mm(service.smallest_gap) if assembled else None,
        "safe_gap_mm": mm(service.safe_gap) if assembled else None,
        "build_mm": [mm(side) for side in service.build],
        "assumed": list(service.assumed),
        "open_up": service.open_up and assembled,
        "gap_asked_mm": mm(result.design.process_gap),
        "shrinkage_percent": [
            _shrinkage(metal.name, service.shrinks(metal)) for metal in result.metals.metals
        ],
        "mould_shrinkage_percent": _percent(service.mould_shrinks),
        "finishing_mm": mm(service.finishing),
        "cut_mm": None if assembled else mm(service.cut),
        "opened_mm": None if assembled else mm(service.opened),
        "layout": None if assembled else service.layout.value,
        "soldered": [list(pair) for pair in service.soldered],
        "sizes": [_sizes(own) for own in piece_sizes(result, prepared)],
        "chord_tolerance_mm": None if prepared is None else mm(prepared.tolerance),
        "batches": [] if prepared is None else [_batch(batch, files) for batch in prepared.batches],
        "scene_batches": [
            {"scene": scene, **_batch(batch, files, f"scenes/{scene}/{FOLDER}")}
            for scene, batches in ({} if prepared is None else prepared.at_rest).items()
            for batch in batches
        ],
        "metal_to_melt_g": {} if prepared is None else _to_melt(prepared.batches),
        "by_hand": [] if prepared is None else list(prepared.by_hand),
        "checks": [
            {
                "name": check.name,
                "state": check.state.value,
                "bodies": [names[body] for body in check.bodies],
                "text": check.text,
            }
            for check in checks_of(result, prepared)
        ],
        "caution": cautions[0],
        "cautions": list(cautions),
    }


def models_data(figures: Mapping[str, Figures], tolerance: float) -> list[dict[str, Any]]:
    """What is in each model of the piece.

    Args:
        figures: By the path of a model without its ending, such as ``models/piece``.
        tolerance: Farthest the facets may lie from the true surface [mm].
    """
    return [
        {"name": name, "chord_tolerance_mm": mm(tolerance), **figures_data(own)}
        for name, own in figures.items()
    ]


def figures_data(figures: Figures) -> dict[str, Any]:
    """The figures of a model."""
    return {
        "triangles": figures.triangles,
        "shells": figures.shells,
        "size_mm": [mm(side) for side in figures.size],
        "volume_mm3": mm(figures.volume),
        "area_mm2": mm(figures.area),
    }


def _percent(parts: Sequence[float] | None) -> list[float] | None:
    return None if parts is None else [round(100.0 * part, 6) for part in parts]


def _shrinkage(metal: str, parts: Sequence[float] | None) -> dict[str, Any]:
    """Of a metal along x, y and z; null where it is not known."""
    return {"metal": metal, "xyz": _percent(parts)}


def _sizes(own: Sizes) -> dict[str, Any]:
    return {
        "metal": own.metal.name,
        "finished": size_data(own.size),
        "cast": size_data(own.cast),
        "pattern": {
            "inside_diameter_mm": [mm(value) for value in own.inside],
            "wire_diameter_mm": [mm(value) for value in own.wire],
        },
    }


def _batch(batch: Batch, files: Sequence[str], folder: str = FOLDER) -> dict[str, Any]:
    casts = batch.metal is not None
    return {
        "name": batch.name,
        "files": files_of(batch.name, files, folder),
        "metal": None if batch.metal is None else batch.metal.name,
        "copies": batch.copies,
        "parts": batch.parts,
        "rings": [{"name": name, "count": count} for name, count in batch.rings],
        "pieces_weight_g": g(batch.pieces_weight) if casts else None,
        "sprues_weight_g": g(batch.sprues_weight) if casts else None,
        "weight_g": g(batch.weight) if casts else None,
        **figures_data(figures_of(batch.model)),
    }


def _to_melt(batches: Sequence[Batch]) -> dict[str, float | None]:
    """What all copies of all castings take, by the name of the metal."""
    return {metal.name: g(weight) for metal, weight in metal_to_melt(batches).items()}


def files_of(name: str, files: Sequence[str], folder: str = FOLDER) -> list[str]:
    """The models of a batch in a folder, among all files."""
    sent = (path for path in map(PurePosixPath, files) if path.parent == PurePosixPath(folder))
    return [str(path) for path in sent if path.stem == name and path.suffix != ".png"]
