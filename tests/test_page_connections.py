"""Connections: of this user alone, not too many, none that hangs for ever, and answers to what is no HTTP."""

import json
import os
import socket
import struct
import subprocess
import threading
import time

import pytest

from chaingen.page import connections, owners
from chaingen.page.guards import HEADERS
from chaingen.page.owners import GONE, is_others, owner_of
from tests.page_serving import served, wait_until


@pytest.fixture(scope="module")
def server():
    with served() as made:
        yield made


@pytest.fixture
def opened(server):
    """Opens connections, and closes them in the end."""
    every = []

    def open_one(content=b"", *, host="127.0.0.1", **options):
        connection = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET)
        for name, value in options.items():
            connection.setsockopt(socket.SOL_SOCKET, getattr(socket, name), value)
        connection.settimeout(30.0)
        connection.connect((host, server.port))
        connection.sendall(content)
        every.append(connection)
        return connection

    yield open_one
    for connection in every:
        connection.close()


def rest_of(connection):
    """All that comes until it is closed."""
    parts = []
    try:
        while part := connection.recv(65_536):
            parts.append(part)
    except ConnectionError:
        pass
    return b"".join(parts)


def head(server, path="/", method="GET", *more):
    lines = [f"{method} {path} HTTP/1.1", f"Host: 127.0.0.1:{server.port}", *more, "", ""]
    return "\r\n".join(lines).encode()


# --- time -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("content", [b"", b"GET / HT", b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-"])
def test_who_does_not_come_to_the_point_is_closed(opened, monkeypatch, content):
    monkeypatch.setattr(connections, "HEAD_LIMIT", 0.2)
    assert rest_of(opened(content)) == b""


def test_drop_by_drop_is_no_way_around(opened, monkeypatch):
    monkeypatch.setattr(connections, "HEAD_LIMIT", 0.3)
    connection = opened(b"GET / HTTP/1.1\r\nX-Long: ")
    for _ in range(6_000):
        time.sleep(0.01)
        try:
            connection.sendall(b"a")
        except OSError:
            return
    raise AssertionError("it was never closed")


def test_nor_is_the_rest_of_a_request_that_was_answered(server, opened, monkeypatch):
    monkeypatch.setattr(connections, "HEAD_LIMIT", 0.3)
    connection = opened(head(server, "/", "GET", "Content-Length: 1000000"))
    assert connection.recv(12) == b"HTTP/1.1 200"
    connection.sendall(b"a")
    assert rest_of(connection).endswith(b"</html>\n")


def test_a_long_answer_is_no_reason(server, monkeypatch, tmp_path):
    monkeypatch.setattr(connections, "HEAD_LIMIT", 0.05)
    asked = {"text": f"wait {tmp_path / 'gate'}"}
    with server.page() as page, page.stream("POST", "/api/look", json=asked) as answer:
        wait_until((tmp_path / "gate.begun").exists)
        time.sleep(0.2)
        (tmp_path / "gate").touch()
        assert "look" in json.loads(list(answer.iter_lines())[-1])


def test_an_answer_that_nobody_takes_is_given_up(server, opened, monkeypatch):
    monkeypatch.setattr(connections, "STALLED", 0.3)
    with server.page() as page:
        listed = page.post("/api/files", json={"text": "x"}).text.splitlines()[-1]
        url = next(entry["url"] for entry in json.loads(listed)["files"]["list"] if "stl" in entry["path"])
        connection = opened(head(server, url) * 40, SO_RCVBUF=4_096)
        time.sleep(1.0)
        assert len(rest_of(connection)) < 40 * 600_000
        assert page.get(url).content == bytes(600_000)


# --- number -----------------------------------------------------------------------------------------


def test_there_are_not_too_many(server, opened, monkeypatch):
    monkeypatch.setattr(connections, "MOST_CONNECTIONS", 5)
    every = [opened() for _ in range(8)]
    assert [rest_of(connection) for connection in every[5:]] == [b""] * 3
    for connection in every:
        connection.close()
    wait_until(lambda: server.raw(head(server, "/", "GET", "Connection: close")).startswith(b"HTTP/1.1 200"))


# --- what is no HTTP --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "content",
    [b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03", b"hello\r\n\r\n", b"GET / HTTP/3\r\n\r\n",
     b"GET /\xff HTTP/1.1\r\n\r\n", b"GET / HTTP/1.1\r\n : x\r\n\r\n", b"GET / HTTP/1.1\r\n\r\n"],
)  # fmt: skip
def test_it_is_refused_in_json_as_everything_is(server, content):
    start, _, body = server.raw(content).partition(b"\r\n\r\n")
    assert start.startswith(b"HTTP/1.1 400 ")
    (problem,) = json.loads(body)["problems"]
    assert problem["where"] == "the request"
    for name, value in HEADERS.items():
        assert f"{name}: {value}".encode() in start


def test_nonsense_in_the_middle_of_an_answer_ends_it_without_noise(server, opened, caplog, tmp_path):
    chunked = "Transfer-Encoding: chunked"
    before = opened(
        head(server, "/api/session", "POST", "Content-Type: application/json", chunked) + b"zz\r\n"
    )
    assert rest_of(before).startswith(b"HTTP/1.1 400 ")
    during = opened(head(server, "/assets/three.js", "GET", chunked), SO_RCVBUF=4_096)
    assert during.recv(12) == b"HTTP/1.1 200"
    during.sendall(b"zz\r\n" * 10)
    rest_of(during)
    after = opened(head(server, "/", "GET", chunked))
    assert after.recv(65_536).startswith(b"HTTP/1.1 200")
    time.sleep(0.1)
    after.sendall(b"zz\r\n")
    rest_of(after)
    assert server.raw(head(server, "/", "GET", "Connection: close")).startswith(b"HTTP/1.1 200")
    assert [record for record in caplog.records if record.name == "asyncio"] == []


# --- users ------------------------------------------------------------------------------------------

# Lines as proc_net_tcp in the kernel's documentation has them; addresses, users and inodes are invented.
LISTED = """\
  sl  local_address rem_address   st tx_queue rx_queue tr tm->when retrnsmt   uid  timeout inode
   0: 0100007F:1F90 00000000:0000 0A 00000000:00000000 00:00000000 00000000  1000        0 11 1
   1: 0100007F:1F90 0100007F:C001 01 00000000:00000000 00:00000000 00000000  1000        0 12 1
   2: 0100007F:C001 0100007F:1F90 01 00000000:00000000 00:00000000 00000000  1001        0 13 1
   3: 0100007F:C002 0100007F:1F90 05 00000000:00000000 00:00000000 00000000     0        0 0 1
   4: 0100007F:C003 0100007F:1F90 01 00000000:00000000 00:00000000 00000000     0        0 14 1
   5: 0100007F:C004 0100007F:1F90 01
"""


def listed_6(number, client, server, user):
    """A line of the list for IPv6, each end as the kernel writes it: four words as they lie in memory."""
    ends = []
    for address, port in (client, server):
        words = struct.unpack("=4I", socket.inet_pton(socket.AF_INET6, address))
        ends.append("".join(f"{word:08X}" for word in words) + f":{port:04X}")
    return (
        f"{number:4d}: {ends[0]} {ends[1]} 01 00000000:00000000 00:00000000 00000000 {user:5d}        0 "
        f"{20 + number} 1\n"
    )


LISTED_6 = "".join(
    [
        "  sl  local_address                         remote_address                        st ...\n",
        listed_6(0, ("::ffff:127.0.0.1", 0x1F90), ("::ffff:127.0.0.1", 0xC006), 1000),
        listed_6(1, ("::ffff:127.0.0.1", 0xC006), ("::ffff:127.0.0.1", 0x1F90), 1002),
        listed_6(2, ("::1", 0xC007), ("::1", 0x1F90), 1002),
        listed_6(3, ("::ffff:127.0.0.1", 0xC008), ("::ffff:127.0.0.1", 0x1F90), 1001),
    ]
)
OURS = ("127.0.0.1", 0x1F90)


@pytest.fixture
def tables(tmp_path):
    """The lists for IPv4 and IPv6."""
    for name, content in (("tcp", LISTED), ("tcp6", LISTED_6)):
        (tmp_path / name).write_text(content)
    return tmp_path / "tcp", tmp_path / "tcp6"


def test_the_user_of_a_connection_is_read_from_the_lists(tables, monkeypatch):
    ports = range(0xC001, 0xC009)
    found = [owner_of(("127.0.0.1", port), OURS, tables) for port in ports]
    assert found == [1001, GONE, 0, None, None, 1002, None, 1001]
    for user, others in ((1001, {0xC002, 0xC006}), (1000, {0xC001, 0xC002, 0xC006, 0xC008})):
        monkeypatch.setattr(owners.os, "getuid", lambda user=user: user)
        assert {port for port in ports if is_others(("127.0.0.1", port), OURS, tables)} == others


def test_a_list_that_is_not_there_or_cannot_be_read_is_as_an_empty_one(tables):
    for table, port, left in ((tables[0], 0xC001, 0xC006), (tables[1], 0xC006, 0xC001)):
        table.write_bytes(b"\xff\n")
        for _ in range(2):
            assert owner_of(("127.0.0.1", port), OURS, tables) is None
            assert owner_of(("127.0.0.1", left), OURS, tables) is not None
            table.unlink(missing_ok=True)
        for other, content in zip(tables, (LISTED, LISTED_6), strict=True):
            other.write_text(content)
    assert owner_of(("no address", 0xC001), OURS, tables) is None


def hosts():
    """The ways to this machine by IPv4: with a socket for it, and with one for IPv6 where there are such."""
    try:
        with socket.socket(socket.AF_INET6) as connection:
            connection.bind(("::ffff:127.0.0.1", 0))
    except OSError:
        return ["127.0.0.1"]
    return ["127.0.0.1", "::ffff:127.0.0.1"]


@pytest.mark.parametrize("host", hosts())
def test_a_connection_of_our_own_is_ours(server, opened, host):
    connection = opened(host=host)
    client, ours = ("127.0.0.1", connection.getsockname()[1]), ("127.0.0.1", server.port)
    assert owner_of(client, ours) == os.getuid()
    assert owner_of(("127.0.0.1", 1), ours) is None


def test_another_user_is_told_and_closed_before_he_asks(opened, monkeypatch):
    monkeypatch.setattr(connections, "is_others", lambda client, server: True)
    start, _, body = rest_of(opened()).partition(b"\r\n\r\n")
    assert start.startswith(b"HTTP/1.1 403 ")
    assert json.loads(body)["problems"][0]["got"] == "another user of this machine"


def test_and_is_answered_nothing_else_when_he_asks(server, monkeypatch):
    monkeypatch.setattr(connections, "is_others", lambda client, server: True)
    # What comes before it is closed may be lost to him with the answer.
    assert server.raw(head(server) * 3).count(b"HTTP/1.1 ") <= 1
    assert b"HTTP/1.1 200" not in server.raw(head(server))


def test_other_users_take_no_room(server, opened, monkeypatch):
    monkeypatch.setattr(connections, "MOST_CONNECTIONS", 2)
    with monkeypatch.context() as strange:
        strange.setattr(connections, "is_others", lambda client, server: True)
        strangers = [opened() for _ in range(30)]
        for stranger in strangers:  # each has been seen by the server, and stays open at its own end
            assert stranger.recv(12) == b"HTTP/1.1 403"
    assert server.raw(head(server, "/", "GET", "Connection: close")).startswith(b"HTTP/1.1 200")


def test_who_has_gone_before_he_can_be_told_apart_is_not_heard(server, opened, monkeypatch):
    gone = threading.Event()
    # The lists are read too late to have him; what he sent is still there to be read.
    monkeypatch.setattr(connections, "is_others", lambda client, server: not gone.wait(30.0))
    before = set(server.folder.iterdir())
    asked = head(server, "/api/session", "POST", "Content-Type: application/json", "Content-Length: 2")
    for _ in range(20):
        gone.clear()
        opened(asked + b"{}", SO_LINGER=struct.pack("ii", 1, 0)).close()
        gone.set()
    assert server.raw(head(server, "/", "GET", "Connection: close")).startswith(b"HTTP/1.1 200")
    time.sleep(0.2)
    assert set(server.folder.iterdir()) == before


@pytest.mark.parametrize("host", hosts())
def test_users_are_told_apart_as_the_system_lists_them(server, host):
    # Only root can ask as somebody else, who is told at once; anyone else asks as himself, and is let in.
    other = os.getuid() == 0
    asked = b"" if other else head(server)
    script = (
        "import socket\n"
        f"connection = socket.create_connection(({host!r}, {server.port}))\n"
        f"connection.sendall({asked!r})\n"
        "print(connection.recv(12).decode())\n"
    )
    outcome = subprocess.run(
        ["/usr/bin/env", "python3", "-c", script],
        user=65_534 if other else None,
        capture_output=True,
        encoding="utf-8",
        timeout=60,
    )
    assert outcome.stdout == f"HTTP/1.1 {403 if other else 200}\n", outcome.stderr
