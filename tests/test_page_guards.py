"""Who may ask the server at all: only this machine, only its own page, nothing too large, slow or odd."""

import asyncio
import json

import httpx
import pytest
from starlette.responses import JSONResponse, PlainTextResponse

from chaingen.page import guards
from chaingen.page.guards import HEADERS, LONGEST_URL, MOST_BODY, Guard

PORT = 8123
GOOD = f"127.0.0.1:{PORT}"


async def app(scope, receive, send):
    """Gives back the body."""
    body = b""
    if scope["method"] == "POST":
        body = (await receive())["body"]
    await JSONResponse({"body": body.decode()})(scope, receive, send)


def ask(method="GET", path="/", *, client=("127.0.0.1", 5), inner=app, port=PORT, **options):
    async def run():
        transport = httpx.ASGITransport(Guard(inner, port), client=client)
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{GOOD}") as asking:
            return await asking.request(method, path, **options)

    return asyncio.run(run())


def refused(answer, status, where):
    assert answer.status_code == status
    (problem,) = answer.json()["problems"]
    assert problem["where"] == where
    assert set(problem) == {"where", "got", "expected", "advice", "line"}
    return problem


@pytest.mark.parametrize("host", [GOOD, f"localhost:{PORT}", f"LOCALHOST:{PORT}"])
def test_the_servers_own_names_are_let_through(host):
    assert ask(headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "workshop.example", f"workshop.example:{PORT}", "127.0.0.1", "localhost", f"127.0.0.1:{PORT + 1}",
        f"127.0.0.1.example:{PORT}", f"127.0.0.1:{PORT}.example", f"user@127.0.0.1:{PORT}", f"[::1]:{PORT}",
        f"0.0.0.0:{PORT}", f"2130706433:{PORT}", f"127.1:{PORT}", "", f"localhost.:{PORT}",
    ],
)  # fmt: skip
def test_a_name_that_was_made_to_lead_here_is_refused(host):
    refused(ask(headers={"host": host}), 403, "Host")


def test_port_80_goes_without_saying():
    assert ask(headers={"host": "127.0.0.1"}, port=80).status_code == 200


def test_two_names_are_refused():
    refused(ask(headers=[("host", GOOD), ("host", GOOD)]), 403, "Host")


@pytest.mark.parametrize("origin", [f"http://{GOOD}", f"http://localhost:{PORT}"])
def test_the_page_itself_may_ask(origin):
    assert ask(headers={"origin": origin, "sec-fetch-site": "same-origin"}).status_code == 200


@pytest.mark.parametrize(
    "origin", ["null", "http://workshop.example", f"https://{GOOD}", "http://127.0.0.1:1", f"{GOOD}", ""]
)
def test_pages_of_others_may_not(origin):
    refused(ask(headers={"origin": origin}), 403, "Origin")


@pytest.mark.parametrize("site", ["cross-site", "same-site", "", "same-origin, cross-site"])
def test_nor_may_what_a_browser_says_is_of_another_site(site):
    refused(ask(headers={"sec-fetch-site": site}), 403, "Sec-Fetch-Site")


def test_an_address_that_is_typed_is_of_no_site():
    assert ask(headers={"sec-fetch-site": "none"}).status_code == 200


@pytest.mark.parametrize(
    "address", ["192.168.1.7", "10.0.0.1", "8.8.8.8", "::ffff:8.8.8.8", "fe80::1%eth0", "x"]
)
def test_other_machines_are_refused(address):
    refused(ask(client=(address, 5)), 403, "the request")


@pytest.mark.parametrize("address", ["127.0.0.1", "127.8.9.1", "::1"])
def test_this_machine_is_let_through(address):
    assert ask(client=(address, 5)).status_code == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "BREW", "get"])
def test_other_methods_are_refused(method):
    answer = ask(method)
    if method == "get":  # the client writes it in capitals
        assert answer.status_code == 200
        return
    refused(answer, 405, "the method")
    assert answer.headers["allow"] == "GET, HEAD, POST"


@pytest.mark.parametrize(
    "kind",
    [
        "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "",
        "application/json; charset=latin-1", "application/jsonp", "text/plain; application/json",
    ],
)  # fmt: skip
def test_a_body_that_a_form_of_another_page_could_send_is_refused(kind):
    refused(ask("POST", content=b"{}", headers={"content-type": kind}), 415, "Content-Type")


def test_a_body_without_a_type_is_refused():
    refused(ask("POST", content=b"{}"), 415, "Content-Type")


@pytest.mark.parametrize("kind", ["application/json", "application/json; charset=UTF-8", "Application/JSON"])
def test_json_is_let_through_whole(kind):
    body = "x" * MOST_BODY
    assert ask("POST", content=body, headers={"content-type": kind}).json() == {"body": body}


def test_a_body_that_is_too_long_is_refused():
    refused(
        ask("POST", content=b"x" * (MOST_BODY + 1), headers={"content-type": "application/json"}),
        413,
        "the body",
    )


def test_one_that_does_not_say_how_long_it_is_too():
    async def parts():
        for _ in range(MOST_BODY // 1_000 + 1):
            yield b"x" * 1_000

    refused(ask("POST", content=parts(), headers={"content-type": "application/json"}), 413, "the body")


def test_a_body_that_never_comes_is_given_up(monkeypatch):
    monkeypatch.setattr(guards, "BODY_LIMIT", 0.05)

    async def parts():
        yield b"{"
        await asyncio.sleep(30.0)

    refused(ask("POST", content=parts(), headers={"content-type": "application/json"}), 408, "the body")


def test_long_addresses_and_many_headers_are_refused():
    refused(ask(path="/" + "a" * LONGEST_URL), 414, "the address")
    refused(ask(path="/?" + "a" * LONGEST_URL), 414, "the address")
    refused(ask(headers={f"x-{number}": "" for number in range(120)}), 431, "the headers")
    refused(ask(headers={"x-long": "a" * 17_000}), 431, "the headers")


def test_every_answer_says_what_a_browser_may_do_with_it():
    for answer in (ask(), ask("BREW"), ask(headers={"host": "workshop.example"})):
        for name, value in HEADERS.items():
            assert answer.headers[name] == value
        assert not [name for name in answer.headers if name.startswith("access-control")]
    policy = HEADERS["content-security-policy"]
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy
    assert "http" not in policy


def test_an_answer_that_says_so_itself_is_left_as_it_is():
    async def inner(scope, receive, send):
        headers = {"cache-control": "no-cache", "content-security-policy": "sandbox"}
        await PlainTextResponse("kept", headers=headers)(scope, receive, send)

    answer = ask(inner=inner)
    assert answer.headers.get_list("cache-control") == ["no-cache"]
    assert answer.headers.get_list("content-security-policy") == ["sandbox"]


def test_a_file_that_has_gone_is_not_there():
    async def inner(scope, receive, send):
        raise FileNotFoundError("gone")

    refused(ask(inner=inner), 404, "the file")


def test_what_comes_after_the_body_is_what_the_server_says():
    async def inner(scope, receive, send):
        told = [(await receive())["type"]]
        await JSONResponse(told)(scope, receive, send)
        told.append((await receive())["type"])
        assert told == ["http.request", "http.disconnect"]

    body = json.dumps({}).encode()
    assert ask("POST", content=body, headers={"content-type": "application/json"}, inner=inner).json() == [
        "http.request"
    ]
