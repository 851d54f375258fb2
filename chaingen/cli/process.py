"""The option `--process`: a design made by another process than it says."""

from typing import TYPE_CHECKING, Any

import click

from chaingen.design.service_names import process_advice, process_choice
from chaingen.stock.processes import PROCESSES

if TYPE_CHECKING:
    from chaingen.design.design import Design


class ProcessName(click.Choice[str]):
    """The name of a process; of others it is told which one may have been meant."""

    def __init__(self) -> None:
        super().__init__(tuple(PROCESSES))

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """The name, if it is one."""
        if value in PROCESSES:
            return str(value)
        advice = process_advice(value)
        self.fail(f"got {value!r}; expected {process_choice()}{f' ({advice})' if advice else ''}", param, ctx)


PROCESS = click.option(
    "--process",
    type=ProcessName(),
    help="Prepare for this process instead of the design's; its limits are then the usual ones, unless it is "
    "the one that the design says.",
)
"""The option; the commands that have it call `with_process`."""


def with_process(design: "Design", name: str | None) -> "Design":
    """The design made by a process.

    Args:
        design: The design; it stays as it is where its own service has that process.
        name: Name of the process; None for the design's own.

    Returns:
        The design with the usual limits of the process, and with what its service says of preparation as far
        as that goes for both. The gap asked for is that of the process, or the design's own if it is more.

    Raises:
        BadInput: The piece cannot be prepared like this, such as with a main thinner than its feeders.
    """
    from chaingen.design.service import service_by
    from chaingen.design.service_problems import service_problems
    from chaingen.errors import BadInput

    own = design.service
    if name is None or (own is not None and own.process.name == name):
        return design
    served = design.served_by(service_by(PROCESSES[name], own))
    if problems := service_problems(served):
        raise BadInput(problems)
    return served
