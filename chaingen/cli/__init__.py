"""The command line: parse, call, print, exit code. Only click is loaded until a command runs.

Exit codes: 0 it fits (or the command did what was asked), 1 it does not fit or no fit was found, 2 bad input
or nothing could be written, 3 the search did not converge.
"""

from chaingen.cli import findings, make, mandrel, new, owned, page, settings, sizes, view, weaves
from chaingen.cli.app import main

__all__ = ["main"]

# Help lists the commands in this order, that of the work.
for command in (
    new.new, weaves.weaves, findings.findings, make.check, make.make, sizes.sizes, mandrel.mandrel,
    owned.owned, settings.settings, page.page, view.view, new.schema,
):  # fmt: skip
    main.add_command(command)
