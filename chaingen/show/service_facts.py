"""What words, report and sheet all tell of a service: its checks, its sizes, its cautions."""

from collections.abc import Iterable

from chaingen.design.service import Service
from chaingen.make.result import Result
from chaingen.prepare.batch import Prepared
from chaingen.prepare.cast import Sizes, ring_sizes
from chaingen.prepare.checks import ServiceCheck, State, rest_checks, service_checks
from chaingen.prepare.loose import CannotPrepare, loose_rings
from chaingen.prepare.sent import not_made
from chaingen.prepare.weld_checks import NAME as WELDED

_LOCAL = "local rules come first."

_TRIMMING = (
    "where sprues are cut off and their stubs filed or sanded, ends fly and dust harms: eye protection, the "
    "piece that comes off held, a mask against dust, an extractor; what clings of the investment has silica "
    f"in it, which harms the lungs: take it off wet, never dry; {_LOCAL}"
)

_OPENING = (
    "cast wire may be brittle, and breaks where it has pores: eye protection when you twist a ring open or "
    f"closed or cut it, and look at every ring before it bears anything; {_LOCAL}"
)

_SUPPORTS = (
    "where supports or edges are cut off, ends fly: eye protection, and a mask where you sand; "
    f"{_LOCAL}"
)  # fmt: skip


def checks_of(result: Result, prepared: Prepared | None) -> tuple[ServiceCheck, ...]:
    """Every check against the service: as prepared, else those that need nothing prepared."""
    if prepared is not None:
        return prepared.checks
    service = result.design.service
    if service is not None and not service.process.assembled:
        try:
            loose_rings(result)
        except CannotPrepare as reason:
            return (not_made(reason),)
    return service_checks(result) + rest_checks(result)


def is_welded(checks: Iterable[ServiceCheck]) -> bool:
    """Whether what is to be soldered can be."""
    return not any(check.name == WELDED and check.state is State.FAIL for check in checks)


def nothing_sent(prepared: Prepared | None) -> str:
    """That nothing goes to the service, where a check has said why without saying that; else empty."""
    if prepared is None or prepared.batches or any(check.name == "preparation" for check in prepared.checks):
        return ""
    return "Nothing is made for the service, because of what failed."


def piece_sizes(result: Result, prepared: Prepared | None) -> tuple[Sizes, ...]:
    """Each ring size and metal on its way from finished to pattern; none without a service."""
    service = result.design.service
    if service is None:
        return ()
    if prepared is not None:
        return prepared.sizes
    return ring_sizes(result, service)


def service_cautions(service: Service) -> tuple[str, ...]:
    """What can hurt those who do it, and those who finish what comes back (common practice)."""
    process = service.process
    if not process.casts:
        return process.caution, _SUPPORTS
    return (process.caution, _TRIMMING) if process.assembled else (process.caution, _TRIMMING, _OPENING)
