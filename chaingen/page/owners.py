"""Whose a connection of this machine is, where the system tells.

The address 127.0.0.1 is that of every user of a machine, and the design that the page opens with is nobody's
business but the maker's. Linux lists the connections with their users; elsewhere the session's name, which
cannot be guessed, is all that keeps others out.
"""

import os
import socket
import struct
from pathlib import Path

TABLE = Path("/proc/net/tcp")
"""The list of connections over IPv4, see proc_net_tcp in the kernel's documentation."""

ROOT = 0
"""Who may do all things anyway; what passes on connections from elsewhere, such as of a container, is his."""

GONE = -1


def is_others(client: tuple[str, int], server: tuple[str, int], table: Path = TABLE) -> bool:
    """Whether the far end of a connection is another user's; False also where that is not known.

    Args:
        client: Address and port of the far end.
        server: Those of this end.
        table: The list of connections.
    """
    if not hasattr(os, "getuid"):
        return False
    owner = owner_of(client, server, table)
    return owner is not None and owner not in (os.getuid(), ROOT)


def owner_of(client: tuple[str, int], server: tuple[str, int], table: Path = TABLE) -> int | None:
    """The number of the user whose the far end of a connection is; None where that is not known.

    One that has been closed already is listed as of root, but without an inode: it is nobody's, -1.
    """
    try:
        wanted = [_written(*client), _written(*server)]
        # The columns: number, local end, far end, state, queues, timer, retransmits, user, timeout, inode.
        with table.open(encoding="ascii") as lines:
            for line in lines:
                columns = line.split(None, 10)
                if columns[1:3] == wanted:
                    return int(columns[7]) if int(columns[9]) else GONE
    except (OSError, ValueError, IndexError):
        pass
    return None


def _written(address: str, port: int) -> str:
    """An end of a connection as the list has it: the address as a number of this machine, in hexadecimals."""
    (number,) = struct.unpack("=I", socket.inet_aton(address))
    return f"{number:08X}:{port:04X}"
