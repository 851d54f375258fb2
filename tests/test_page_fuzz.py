"""Anything may be asked: the answer is never a fault of the server, and says in JSON what is wrong."""

import json
import string

import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chaingen.design.starter import starter_design
from chaingen.page.server import First
from tests.page_serving import served

SMALL = starter_design("two-in-one", repeat=3)

RUNS = settings(
    max_examples=300,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
FEWER = settings(RUNS, max_examples=60)

PATHS = ("session", "new", "look", "rest", "files", "beside", "stop", "end")
TEXTS = st.text(max_size=60) | st.sampled_from(
    ["", "x", "\0", "two-in-one", "a.toml", "../a.toml", "12 mm", SMALL]
)
SCALARS = st.none() | st.booleans() | st.integers() | st.floats() | TEXTS
KEYS = st.sampled_from(
    ["text", "changes", "quick", "scene", "kind", "name", "inside", "repeat", "models", "do", "at", "value"]
) | st.text(max_size=8)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=5),
    max_leaves=20,
)
SHAPED = st.fixed_dictionaries(
    {},
    optional={
        "text": TEXTS, "changes": st.lists(VALUES, max_size=3), "quick": st.booleans() | SCALARS,
        "scene": st.dictionaries(st.sampled_from(["kind", "span", "seed", "friction"]), SCALARS),
        "name": TEXTS, "wire": TEXTS, "repeat": SCALARS, "models": st.booleans(), "sheet": st.booleans(),
    },
)  # fmt: skip
BODIES = (
    st.binary(max_size=300)
    | VALUES.map(lambda value: json.dumps(value).encode())
    | SHAPED.map(lambda value: json.dumps(value).encode())
    | SHAPED.map(lambda value: json.dumps(value, ensure_ascii=False).encode("utf-8", "surrogatepass"))
)
HEADER_TEXT = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=40).map(str.strip)
HEADERS = st.dictionaries(
    st.sampled_from(
        ["Host", "Origin", "Sec-Fetch-Site", "Content-Type", "X-Session", "Accept-Encoding", "If-None-Match",
         "Range", "Cookie", "Content-Encoding", "Expect", "Upgrade", "X-Forwarded-For"]
    )
    | st.text(string.ascii_letters + "-", min_size=1, max_size=12).map(lambda name: "X-" + name),
    HEADER_TEXT | st.sampled_from(["application/json", "bytes=0-", "bytes=9-1,x", "*", "gzip;q=x", "null"]),
    max_size=6,
)  # fmt: skip
_PLAIN = st.characters(min_codepoint=33, max_codepoint=126, exclude_characters="#?")
_STARTS = st.sampled_from(["api/", "assets/", "files/", "assets/pictures/", "files/x/1/"])
_PARTS = st.text(string.ascii_letters + "./%\\0123456789", max_size=30)
ADDRESSES = st.text(_PLAIN, max_size=40) | st.builds(str.__add__, _STARTS, _PARTS)


@pytest.fixture(scope="module")
def server():
    with served() as made:
        yield made


@pytest.fixture(scope="module")
def page(server):
    with server.page() as client:
        yield client


def judge(answer):
    """No fault of the server; and what is refused says so as problems in JSON."""
    assert answer.status_code < 500, answer.text
    if answer.status_code >= 400:
        problems = answer.json()["problems"]
        assert problems
        for problem in problems:
            assert set(problem) == {"where", "got", "expected", "advice", "line"}
            assert all(isinstance(problem[key], str) for key in ("where", "got", "expected", "advice"))
            assert problem["where"]
            assert problem["expected"]
    elif answer.headers.get("content-type") == "application/x-ndjson":
        lines = [json.loads(line) for line in answer.text.splitlines()]
        assert all("progress" in line or "poses" in line or "piece" in line for line in lines[:-1])
        assert lines[-1].keys() & {"look", "rest", "files", "problems", "stopped", "fault"}


@RUNS
@given(path=st.sampled_from(PATHS), body=BODIES)
def test_any_body(page, path, body):
    if path in ("session", "end"):  # its pages would push out this one, or this one would end
        body = body if body != b"{}" else b""
    judge(page.post(f"/api/{path}", content=body, headers={"Content-Type": "application/json"}))


@RUNS
@given(
    method=st.sampled_from(["GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS", "TRACE", "PATCH", "X"]),
    path=ADDRESSES,
    headers=HEADERS,
    body=st.binary(max_size=50),
)
def test_any_address_and_headers(server, page, method, path, headers, body):
    # Written by hand: a client would put in order what it is given.
    told = {
        "Host": f"127.0.0.1:{server.port}",
        "X-Session": page.headers["X-Session"],
        "Content-Type": "application/json",
        "Content-Length": str(len(body)),
        **headers,
        "Connection": "close",
    }
    lines = [f"{method} /{path} HTTP/1.1", *(f"{name}: {value}" for name, value in told.items())]
    answer = server.raw("\r\n".join([*lines, "", ""]).encode("ascii") + body, end=False)
    head, _, rest = answer.partition(b"\r\n\r\n")
    status = int(head.split(b" ", 2)[1])
    assert status < 500, answer
    if status >= 400 and method != "HEAD" and rest != b"Invalid HTTP request received.":
        judge(httpx.Response(status, content=rest))


@RUNS
@given(
    content=st.binary(max_size=200)
    | st.builds(bytes.__add__, st.just(b"GET / HTTP/1.1\r\n"), st.binary(max_size=100))
)
def test_any_bytes(server, content):
    if answer := server.raw(content):
        assert answer.startswith(b"HTTP/1.1 ")
        assert int(answer.split(b" ", 2)[1]) < 500


# --- with the page's own jobs -----------------------------------------------------------------------


@pytest.fixture(scope="module")
def bench():
    with served("chaingen.page.jobs", First(SMALL, "two-in-one")) as made, made.page() as client:
        look = client.post("/api/look", json={"text": SMALL, "changes": []})
        assert json.loads(look.text.splitlines()[-1])["look"]["exit_code"] == 0
        yield client


PLACES = st.lists(
    st.sampled_from(
        ["rings", "link", "inside", "wire", "pattern", "groups", "repeat", "ends", "scenes", "metal"]
    )
    | st.integers(-2, 4)
    | SCALARS,
    max_size=5,
)
WAYS = ["set", "remove", "insert", "move", "group", "extent", "closed", "end", "size", "metal", "title"]
CHANGE = st.fixed_dictionaries(
    {"do": st.sampled_from(WAYS)},
    optional={
        "at": PLACES, "value": VALUES, "to": SCALARS, "count": st.integers(-1, 9) | SCALARS, "ring": TEXTS,
        "kind": TEXTS | st.sampled_from(["join", "repeat", "length"]), "which": TEXTS, "wire": TEXTS,
        "name": st.sampled_from(["link", "jump"]) | TEXTS,
        "inside": st.sampled_from(["3 mm", "3.4 mm", "1/8 in"]) | TEXTS,
    },
)  # fmt: skip


@st.composite
def broken_texts(draw):
    """The design with some of its characters changed, left out or put in."""
    text = list(SMALL)
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(text) - 1))
        text[at] = draw(st.sampled_from(["", "\n", '"', "[", "]", "=", "0", "-", "é", "#", text[at] * 2]))
    return "".join(text)


def judged_look(client, **body):
    answer = client.post(
        "/api/look", content=json.dumps({"quick": True, **body}), headers={"Content-Type": "application/json"}
    )
    judge(answer)
    if answer.status_code == 200:
        last = json.loads(answer.text.splitlines()[-1])
        assert "fault" not in last, last
        assert "stopped" not in last, last
        for problem in last.get("problems", ()):
            assert problem["line"] is None or problem["line"] >= 1


@FEWER
@given(changes=st.lists(CHANGE | VALUES, min_size=1, max_size=3))
def test_any_changes_of_a_design(bench, changes):
    judged_look(bench, text=SMALL, changes=changes)


@FEWER
@given(text=broken_texts() | st.text(max_size=200))
def test_any_text_of_a_design(bench, text):
    judged_look(bench, text=text, changes=[])
