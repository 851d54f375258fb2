"""Whose a connection of this machine is, where the system tells.

The address 127.0.0.1 is that of every user of a machine, and the design that the page opens with is nobody's
business but the maker's. Linux lists the connections with their users; elsewhere the session's name, which
cannot be guessed, is all that keeps others out.
"""

import os
import socket
import struct
from collections.abc import Sequence
from pathlib import Path

TABLES = (Path("/proc/net/tcp"), Path("/proc/net/tcp6"))
"""The lists of connections, see proc_net_tcp in the kernel's documentation. A socket for IPv6 that connects
to an address of IPv4 is in the second one, though it is the far end of one in the first."""

MAPPED = bytes(10) + b"\xff\xff"
"""What stands before an address of IPv4 where it is written as one of IPv6, see RFC 4291, 2.5.5.2."""

ROOT = 0
"""Who may do all things anyway; what passes on connections from elsewhere, such as of a container, is his."""

GONE = -1


def is_others(client: tuple[str, int], server: tuple[str, int], tables: Sequence[Path] = TABLES) -> bool:
    """Whether the far end of a connection is another user's; False also where that is not known.

    Args:
        client: Address and port of the far end.
        server: Those of this end.
        tables: The lists of connections.
    """
    if not hasattr(os, "getuid"):
        return False
    owner = owner_of(client, server, tables)
    return owner is not None and owner not in (os.getuid(), ROOT)


def owner_of(client: tuple[str, int], server: tuple[str, int], tables: Sequence[Path] = TABLES) -> int | None:
    """The number of the user whose the far end of a connection is; None where that is not known.

    One that has been closed already is listed as of root, but without an inode: it is nobody's, -1.
    """
    try:
        wanted = [[_written(start, *end) for end in (client, server)] for start in (b"", MAPPED)]
    except OSError:
        return None
    for table in tables:
        owner = _listed(wanted, table)
        if owner is not None:
            return owner
    return None


def _listed(wanted: list[list[str]], table: Path) -> int | None:
    """The user of the first connection in a list that has one of these pairs of ends."""
    try:
        # The columns: number, local end, far end, state, queues, timer, retransmits, user, timeout, inode.
        with table.open(encoding="ascii") as lines:
            for line in lines:
                columns = line.split(None, 10)
                if columns[1:3] in wanted:
                    return int(columns[7]) if int(columns[9]) else GONE
    except (OSError, ValueError, IndexError):
        pass
    return None


def _written(start: bytes, address: str, port: int) -> str:
    """An end of a connection as a list has it: the address in numbers of this machine, in hexadecimals.

    Args:
        start: What comes before the four bytes of the address.
        address: An address of IPv4.
        port: The port.
    """
    numbers = struct.iter_unpack("=I", start + socket.inet_aton(address))
    return "".join(f"{number:08X}" for (number,) in numbers) + f":{port:04X}"
