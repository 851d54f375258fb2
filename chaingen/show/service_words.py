"""What a process makes of a piece, for the terminal and for report.json."""

from typing import Any

from chaingen.design.service import Service
from chaingen.make.result import Result
from chaingen.prepare.checks import by, service_checks
from chaingen.show.rounding import mm
from chaingen.units import format_mm


def service_lines(result: Result) -> list[str]:
    """The process, the gap it asks for and every check against it, a sentence a line; none without one."""
    service = result.design.service
    if service is None:
        return []
    lines = [f"To be made from a model, {service.process.name}: {_limits(service)}."]
    gap = result.design.process_gap
    if gap:
        asked = format_mm(gap)
        if gap >= result.design.clearance:
            lines.append(
                f"The gap asked for between wires, {asked}, is that of the process, {service.process.name}."
            )
        else:
            own = format_mm(result.design.clearance)
            lines.append(f"The gap asked for between wires, {own}, is more than the {asked} of the process.")
    lines += [f"  {check.state.value}: {check.name}, {check.text}." for check in service_checks(result)]
    lines.append(f"Caution: {service.process.caution}")
    return lines


def _limits(service: Service) -> str:
    limits = {
        "smallest_wire": f"wire of {format_mm(service.smallest_wire)} or more",
        "smallest_gap": f"gaps of {format_mm(service.smallest_gap)} or more",
        "build": f"up to {by(service.build)}",
    }
    if not service.process.assembled:
        del limits["smallest_gap"]
    told = [f"{text} (assumed)" if name in service.assumed else text for name, text in limits.items()]
    return ", ".join(told)


def service_data(result: Result) -> dict[str, Any] | None:
    """The process, its limits and every check against it; None without a process."""
    service = result.design.service
    if service is None:
        return None
    names = result.placement.graph.names
    assembled = service.process.assembled
    return {
        "process": service.process.name,
        "smallest_wire_mm": mm(service.smallest_wire),
        "smallest_gap_mm": mm(service.smallest_gap) if assembled else None,
        "safe_gap_mm": mm(service.safe_gap) if assembled else None,
        "build_mm": [mm(side) for side in service.build],
        "assumed": list(service.assumed),
        "open_up": service.open_up and assembled,
        "gap_asked_mm": mm(result.design.process_gap),
        "checks": [
            {
                "name": check.name,
                "state": check.state.value,
                "bodies": [names[body] for body in check.bodies],
                "text": check.text,
            }
            for check in service_checks(result)
        ],
        "caution": service.process.caution,
    }
