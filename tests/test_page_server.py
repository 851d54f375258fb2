"""The server over real connections: sessions, streams, files, and requests that are not in order."""

import io
import json
import re
import shutil
import socket
import threading
import zipfile
from concurrent.futures import ThreadPoolExecutor

import httpx
import pytest

from chaingen.errors import BadInput
from chaingen.page import server as server_module
from chaingen.page import sessions as session_module
from chaingen.page.requests import MOST_BESIDE, MOST_TEXT, base_name
from chaingen.page.server import First
from chaingen.page.sessions import MOST_BESIDE as MOST_FILES
from chaingen.page.sessions import MOST_SESSIONS, MOST_SETS, Session
from chaingen.page.workers import CANCELLED, ENDING, REPLACED
from chaingen.tables import has_endless_key
from tests.page_serving import served, wait_until

CANARY = "the canary sings"


@pytest.fixture(scope="module")
def server():
    first = First("the first design", "first.toml", {"weave.toml": b"a weave"})
    with served(first=first, opening={"version": "1", "catalogue": []}) as made:
        (made.folder.parent / "canary.txt").write_text(CANARY)
        yield made
        (made.folder.parent / "canary.txt").unlink()


@pytest.fixture
def page(server):
    with server.page() as client:
        yield client


def lines_of(answer):
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/x-ndjson"
    return [json.loads(line) for line in answer.text.splitlines()]


def look(client, text, **options):
    return lines_of(client.post("/api/look", json={"text": text, **options}))


def problem_of(answer, status=400):
    assert answer.status_code == status, answer.text
    problems = answer.json()["problems"]
    assert all(set(entry) == {"where", "got", "expected", "advice", "line"} for entry in problems)
    return problems[0]


# --- the page and its files -------------------------------------------------------------------------


def test_every_asset_is_given_out_under_its_name(server):
    from chaingen.page.asset_files import load_assets

    assets = load_assets()
    assert {"index.html", "main.js", "page.css"} <= set(assets)
    with server.client() as client:
        for name, asset in assets.items():
            answer = client.get(f"/assets/{name}")
            assert answer.content == asset.content, name
            assert answer.headers["content-type"] == asset.kind
        assert client.get("/").content == assets["index.html"].content
        assert client.head("/").content == b""


def test_an_asset_that_the_browser_has_is_not_sent_again(server):
    with server.client() as client:
        for coding in ("gzip", "identity"):
            first = client.get("/assets/index.html", headers={"accept-encoding": coding})
            assert first.headers.get("content-encoding", "identity") == coding
            had = {"accept-encoding": coding, "if-none-match": f'"other", {first.headers["etag"]}'}
            again = client.get("/assets/index.html", headers=had)
            assert (again.status_code, again.content) == (304, b"")
        assert (
            client.get("/assets/index.html", headers={"accept-encoding": "gzip;q=0"}).headers.get(
                "content-encoding"
            )
            is None
        )


TRAVERSALS = [
    "../server.py", "..%2fserver.py", "%2e%2e/server.py", "%2e%2e%2fserver.py", "..%5cserver.py",
    "%252e%252e%252fserver.py", "..%c0%afserver.py", "%00", "index.html%00.js", "pictures/../../server.py",
    "/etc/hostname", "%2fetc%2fhostname", "C:%5cwindows%5cwin.ini", "....//server.py", "..;/server.py",
    "pictures/", "pictures", "", ".", "%ff%fe", "~root", "CON", "file:///etc/hostname",
    "../../canary.txt", "..%2f..%2fcanary.txt", "%2e%2e%2f%2e%2e%2fcanary.txt",
]  # fmt: skip


@pytest.mark.parametrize("path", TRAVERSALS)
def test_no_address_leads_out_of_what_is_given_out(server, page, path):
    number = exported_set(page)["set"]
    session = page.headers["X-Session"]
    for start in ("/assets/", f"/files/{session}/{number}/", f"/files/{session}/", "/files/", "/"):
        # Sent as it is: a client would tidy the path first.
        request = f"GET {start}{path} HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nConnection: close\r\n\r\n"
        answer = server.raw(request.encode())
        status = int(answer.split(b" ", 2)[1])
        if (start, path) == ("/", ""):
            assert status == 200
            continue
        assert status in (400, 404), answer[:300]
        assert CANARY.encode() not in answer
        assert b"import " not in answer


# --- sessions ---------------------------------------------------------------------------------------


def test_a_page_is_told_all_it_begins_with(server):
    with server.client() as client:
        told = client.post("/api/session", json={}).json()
    assert re.fullmatch("[0-9a-f]{32}", told["session"])
    assert told["first"] == {"text": "the first design", "name": "first.toml"}
    assert told["version"] == "1"


def test_the_first_look_is_made_before_anyone_asks_and_by_one_worker_for_all(server):
    with server.page() as one, server.page() as two:
        found = [look(client, "the first design")[-1]["look"] for client in (one, two)]
        assert found[0] == found[1]
        assert found[0]["beside"] == ["weave.toml"]
        # Each goes on from it by itself.
        assert look(one, "more", quick=True)[-1]["look"]["last"] == "the first design"


def test_two_pages_do_not_mix(server):
    with server.page() as one, server.page() as two:
        look(one, "of one")
        look(two, "of two")
        assert one.post("/api/beside", json={"name": "own.toml", "text": "1"}).json()["names"] == [
            "own.toml",
            "weave.toml",
        ]
        assert look(one, "next", quick=True)[-1]["look"] | {"pid": 0} == {
            "last": "of one", "beside": ["own.toml", "weave.toml"], "pid": 0,
        }  # fmt: skip
        assert look(two, "next", quick=True)[-1]["look"] | {"pid": 0} == {
            "last": "of two", "beside": ["weave.toml"], "pid": 0,
        }  # fmt: skip


def test_a_look_that_was_made_is_not_made_again_unless_a_file_changed(page):
    first = look(page, "kept by text")
    page.post("/api/stop", json={})
    assert look(page, "kept by text") == [first[-1]]
    page.post("/api/beside", json={"name": "weave.toml", "text": "another weave"})
    assert len(look(page, "kept by text")) >= 1
    page.post("/api/beside", json={"name": "late.toml", "text": "another weave"})
    assert look(page, "kept by text")[-1]["look"]["beside"] == ["late.toml", "weave.toml"]


@pytest.mark.parametrize("name", ["", "0" * 32, "first", "../first", "x" * 300])
def test_a_session_that_is_none_is_refused(server, name):
    with server.client(headers={"X-Session": name}) as client:
        for path in ("new", "look", "rest", "files", "beside", "stop"):
            problem = problem_of(client.post(f"/api/{path}", json={}), 404)
            assert problem["where"] == "X-Session"


def test_the_page_left_alone_longest_is_forgotten_and_its_folder_goes(server):
    with server.page() as old, server.page() as kept:
        folder = server.folder / old.headers["X-Session"]
        assert (folder / "beside" / "weave.toml").read_bytes() == b"a weave"
        for _ in range(MOST_SESSIONS):
            with server.client() as client:
                client.post("/api/session", json={})
            assert kept.post("/api/stop", json={}).status_code == 200
        assert problem_of(old.post("/api/stop", json={}), 404)["where"] == "X-Session"
        assert not folder.exists()


def test_a_page_that_ends_leaves_nothing(server, page):
    told = exported_set(page)
    assert page.get(told["zip"]).status_code == 200
    page.post("/api/beside", json={"name": "own.toml", "text": "x = 1"})
    folder = server.folder / page.headers["X-Session"]
    assert folder.is_dir()
    answer = page.post("/api/end", json={})
    assert (answer.status_code, answer.json()) == (200, {})
    assert not folder.exists()
    assert page.get(told["zip"]).status_code == 404
    assert problem_of(page.post("/api/stop", json={}), 404)["where"] == "X-Session"
    assert page.post("/api/end", json={}).json() == {}


@pytest.mark.parametrize("name", ["", "0" * 32, "first", "../first", "x" * 300])
def test_a_session_that_is_none_may_end(server, page, name):
    with server.client(headers={"X-Session": name}) as client:
        assert client.post("/api/end", json={}).json() == {}
    assert (server.folder / "first" / "beside" / "weave.toml").is_file()
    assert page.post("/api/stop", json={}).status_code == 200


def test_only_the_page_itself_may_end_it(server, page):
    for headers in ({"Origin": "http://workshop.example"}, {"Sec-Fetch-Site": "cross-site"}, {"Host": "x"}):
        assert problem_of(page.post("/api/end", json={}, headers=headers), 403)
    assert problem_of(page.post("/api/end", content=b"{}", headers={"Content-Type": "text/plain"}), 415)
    assert problem_of(page.get("/api/end"), 405)
    with server.page() as other:
        assert other.post("/api/end", json={}).json() == {}
    assert page.post("/api/stop", json={}).status_code == 200


@pytest.mark.parametrize("kind", ["wait", "stubborn"])
def test_the_work_of_a_page_that_ends_stops_before_its_folder_goes(server, page, tmp_path, kind):
    folder = server.folder / page.headers["X-Session"]
    with page.stream("POST", "/api/look", json={"text": f"{kind} {tmp_path / 'never'}"}) as answer:
        lines = answer.iter_lines()
        next(lines)
        wait_until((tmp_path / "never.begun").exists)
        with server.client(headers=page.headers) as same:
            assert same.post("/api/end", json={}).json() == {}
        assert not server.workers.heavy.of(page.headers["X-Session"])
        assert not folder.exists()
        assert json.loads(list(lines)[-1]) == {"stopped": CANCELLED}


def test_what_is_asked_while_a_page_ends_begins_no_work(server, page, monkeypatch):
    reading = server_module.asked.read_request
    begun, go_on = threading.Event(), threading.Event()

    def slow(body, model):
        if model is server_module.asked.Files:
            begun.set()
            go_on.wait(30.0)
        return reading(body, model)

    monkeypatch.setattr(server_module.asked, "read_request", slow)
    with ThreadPoolExecutor(1) as thread, server.client(headers=page.headers) as late:
        answer = thread.submit(late.post, "/api/files", json={"text": "x"})
        assert begun.wait(30.0)
        assert page.post("/api/end", json={}).json() == {}
        go_on.set()
        assert problem_of(answer.result(), 404)["where"] == "X-Session"
    assert not (server.folder / page.headers["X-Session"]).exists()


# --- streams ----------------------------------------------------------------------------------------


def test_lines_come_while_the_work_goes_on(page, tmp_path):
    gate = tmp_path / "gate"
    with page.stream("POST", "/api/look", json={"text": f"wait {gate}"}) as answer:
        lines = answer.iter_lines()
        while json.loads(next(lines)).get("progress") != "begun":
            pass
        gate.touch()  # only now can it end
        last = [json.loads(line) for line in lines][-1]
    assert "look" in last


def test_who_goes_away_stops_the_work(server, page, tmp_path):
    gate = tmp_path / "never"
    with page.stream("POST", "/api/look", json={"text": f"wait {gate}"}) as answer:
        next(answer.iter_lines())
        wait_until(lambda: (tmp_path / "never.begun").exists())
    page.close()
    wait_until(lambda: not server.workers.heavy.begun)


def test_a_newer_change_replaces_an_older_one(server, tmp_path):
    with server.page() as one, server.page() as other:
        gate = tmp_path / "never"
        with one.stream("POST", "/api/look", json={"text": f"wait {gate}"}) as answer:
            lines = answer.iter_lines()
            next(lines)
            wait_until(lambda: (tmp_path / "never.begun").exists())
            other_gate = tmp_path / "other"
            with other.stream("POST", "/api/look", json={"text": f"wait {other_gate}"}) as other_answer:
                other_lines = other_answer.iter_lines()
                next(other_lines)
                with server.client(headers={"X-Session": one.headers["X-Session"]}) as same:
                    assert "look" in look(same, "newer")[-1]
                assert json.loads(list(lines)[-1]) == {"stopped": REPLACED}
                other_gate.touch()
                assert "look" in json.loads(list(other_lines)[-1])


def test_work_can_be_stopped(server, page, tmp_path):
    with page.stream("POST", "/api/rest", json={"text": "x", "scene": {"kind": "hang"}}) as answer:
        assert json.loads(list(answer.iter_lines())[-1])["rest"]["kind"] == "hang"
    with page.stream("POST", "/api/look", json={"text": f"wait {tmp_path / 'never'}"}) as answer:
        lines = answer.iter_lines()
        next(lines)
        with server.client(headers={"X-Session": page.headers["X-Session"]}) as same:
            assert same.post("/api/stop", json={}).json() == {}
        assert json.loads(list(lines)[-1]) == {"stopped": CANCELLED}


@pytest.mark.parametrize(("text", "key"), [("exit 1", "fault"), ("broken", "fault"), ("bad", "problems")])
def test_what_goes_wrong_in_the_work_is_told_in_the_last_line(page, text, key):
    assert key in look(page, text)[-1]
    assert look(page, f"after {text}")[-1]["text"] == f"after {text}"


def test_a_design_to_start_from(page):
    assert page.post("/api/new", json={"name": "two-in-one"}).json() == {"text": "a starter"}
    answer = page.post("/api/new", json={"name": "none"})
    assert answer.status_code == 200
    assert answer.json()["problems"][0]["where"] == "name"


# --- exported files ---------------------------------------------------------------------------------


def exported_set(client):
    return lines_of(client.post("/api/files", json={"text": "x"}))[-1]["files"]


def test_exported_files_are_given_out_one_by_one_and_together(page):
    told = exported_set(page)
    by_path = {entry["path"]: entry["url"] for entry in told["list"]}
    sheet = page.get(by_path["sheet.html"])
    assert sheet.content == b"<p>A sheet"
    assert sheet.headers["content-security-policy"].startswith("sandbox ")
    assert "allow-scripts" not in sheet.headers["content-security-policy"]
    model = page.get(by_path["models/piece.stl"])
    assert model.content == bytes(600_000)
    assert model.headers["content-disposition"] == "attachment"
    assert page.head(by_path["models/piece.stl"]).headers["content-length"] == "600000"
    for _ in range(2):
        packed = zipfile.ZipFile(io.BytesIO(page.get(told["zip"]).content))
        assert packed.testzip() is None
        assert packed.namelist() == ["sheet.html", "models/piece.stl"]


def test_what_lies_outside_is_not_given_out_even_if_it_was_listed(page):
    told = exported_set(page)
    for entry in told["list"][2:]:
        assert problem_of(page.get(entry["url"]), 404)


def test_files_of_another_page_need_its_session(server, page):
    told = exported_set(page)
    with server.page() as other:
        wrong = told["zip"].replace(page.headers["X-Session"], other.headers["X-Session"])
        assert other.get(wrong).status_code == 404


def test_old_exports_go_and_unfinished_ones_too(server, page):
    sets = [exported_set(page) for _ in range(MOST_SETS + 1)]
    assert page.get(sets[0]["zip"]).status_code == 404
    assert page.get(sets[1]["zip"]).status_code == 200
    told = lines_of(page.post("/api/files", json={"text": "unfinished"}))[-1]
    assert told == {"fault": "cannot write sheet.html: the disk is full"}
    last = exported_set(page)
    folder = server.folder / page.headers["X-Session"] / session_module.SETS
    kept = {entry.name for entry in folder.iterdir() if entry.is_dir()}
    assert kept == {told["set"] for told in sets[2:]} | {last["set"]}


def test_exports_at_once_do_not_get_in_each_others_way(server, page):
    def export(_):
        with server.client(headers=page.headers) as client:
            return lines_of(client.post("/api/files", json={"text": "x"}))[-1]

    with ThreadPoolExecutor(6) as threads:
        told = list(threads.map(export, range(6)))
    assert all(line.keys() <= {"files", "stopped"} for line in told)
    assert any("files" in line for line in told)
    assert exported_set(page)


def test_where_nothing_can_be_kept_it_is_told_in_words(server, page):
    told = exported_set(page)
    sets = server.folder / page.headers["X-Session"] / session_module.SETS
    shutil.rmtree(sets)
    problem = problem_of(page.get(told["zip"]))
    assert (problem["where"], problem["advice"]) == ("all files in one", "save the files one by one")
    assert problem_of(page.get(told["list"][0]["url"]), 404)
    sets.touch()
    problem = problem_of(page.post("/api/files", json={"text": "x"}))
    assert problem["where"] == "the folder of this page"
    with pytest.raises(BadInput, match="the folder of this page"):
        Session("x", sets / "x")


# --- files beside the design ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("weave.toml", "weave.toml"), ("../../../weave.toml", "weave.toml"),
        ("/etc/weave.toml", "weave.toml"),
        ("C:\\work\\weave.toml", "weave.toml"), ("möwe.TOML", "möwe.TOML"),
        ("two words.toml", "two words.toml"),
    ],
)  # fmt: skip
def test_only_the_last_part_of_a_name_counts(server, page, given, kept):
    names = page.post("/api/beside", json={"name": given, "text": "x = 1"}).json()["names"]
    assert kept in names
    assert (server.folder / page.headers["X-Session"] / "beside" / kept).read_text() == "x = 1"


@pytest.mark.parametrize(
    "name",
    [
        "", ".", "..", "../", "weave", "weave.txt", ".toml", ".hidden.toml", "con.toml", "LPT1.toml", "nul",
        "com¹.toml", "a\0b.toml", "a\nb.toml", "a:b.toml", "weave.toml:stream.toml", "a*.toml",
        "x" * 200 + ".toml",
        "weave.toml/", "weave.toml\\", " a.toml", "|.toml", "\u202eevil.toml",
    ],
)  # fmt: skip
def test_names_that_are_none_everywhere_are_refused(page, name):
    assert problem_of(page.post("/api/beside", json={"name": name, "text": ""}))["where"] == "name"


def test_a_link_in_the_place_of_a_file_is_replaced_and_not_followed(server, page, tmp_path):
    kept = tmp_path / "kept.toml"
    kept.write_text("kept")
    beside = server.folder / page.headers["X-Session"] / "beside"
    (beside / "link.toml").symlink_to(kept)
    assert page.post("/api/beside", json={"name": "link.toml", "text": "x"}).status_code == 200
    assert kept.read_text() == "kept"
    assert (beside / "link.toml").read_text() == "x"
    assert not (beside / "link.toml").is_symlink()


def test_plain_names_stay_as_they_are():
    assert base_name("Slipway 2.toml") == "Slipway 2.toml"


def test_there_are_not_too_many_files_nor_too_large_ones(page):
    for number in range(MOST_FILES - 1):  # there is one from the start
        assert page.post("/api/beside", json={"name": f"{number}.toml", "text": ""}).status_code == 200
    problem = problem_of(page.post("/api/beside", json={"name": "more.toml", "text": ""}))
    assert str(MOST_FILES) in problem["expected"]
    assert page.post("/api/beside", json={"name": "0.toml", "text": "x" * MOST_BESIDE}).status_code == 200
    problem = problem_of(page.post("/api/beside", json={"name": "0.toml", "text": "x" * (MOST_BESIDE + 1)}))
    assert problem["where"] == "text"


# --- requests that are not in order -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "no JSON"), (b"{", "no JSON"), (b"[]", "no object"), (b"null", "no object"),
        (b'"x"', "no object"),
        (b'{"text": NaN}', "NaN"), (b'{"text": -Infinity}', "-Infinity"),
        (b'{"text": 1e999}', "beyond all measure"),
        (b'{"text": ' + b"1" * 5_000 + b"}", "very many digits"), (b'{"text": "a", "text": "b"}', "twice"),
        (b'{"text": "\xff"}', "not UTF-8"), (b'{"text": "\\ud800"}', "half of a letter"),
        (b'{"\\udc00": 1}', "half of a letter"), (b"[" * 100_000, "nested too deeply"),
        (b'{"changes": [' + b'{"value":' * 30 + b"1" + b"}" * 30 + b"]}", "nested too deeply"),
        (b"\xef\xbb\xbf{}", "no JSON"), (b"{}{}", "no JSON"),
    ],
)  # fmt: skip
def test_json_that_is_none_is_refused(page, body, words):
    answer = page.post("/api/look", content=body, headers={"Content-Type": "application/json"})
    problem = problem_of(answer)
    assert problem["where"] == "the request"
    assert words in problem["got"]


@pytest.mark.parametrize(
    ("path", "body", "where"),
    [
        ("look", {}, "text"), ("look", {"text": 1}, "text"),
        ("look", {"text": "x" * (MOST_TEXT + 1)}, "text"),
        ("look", {"text": "é" * (MOST_TEXT // 2 + 1)}, "text"), ("look", {"text": "", "quick": 1}, "quick"),
        ("look", {"text": "", "changes": {}}, "changes"),
        ("look", {"text": "", "changes": ["set"]}, "changes"),
        ("look", {"text": "", "changes": [{}] * 101}, "changes"),
        ("look", {"text": "", "color": ""}, "color"),
        ("look", {"text": "", "last": "x"}, "last"), ("look", {"text": "", "folder": "/"}, "folder"),
        ("rest", {"text": ""}, "scene"), ("rest", {"text": "", "scene": "hang"}, "scene"),
        ("rest", {"text": "", "scene": {"kind": "hang", "friction": 3}}, "scene.friction"),
        ("rest", {"text": "", "scene": {"kind": "hang", "seed": -1}}, "scene.seed"),
        ("rest", {"text": "", "scene": {"kind": "hang", "span": []}}, "scene.span"),
        ("files", {"text": "", "models": "yes"}, "models"), ("files", {"text": "", "out": "/"}, "out"),
        ("new", {"name": None}, "name"), ("new", {"name": "x", "repeat": 1.5}, "repeat"),
        ("new", {"name": "x", "closed": "no"}, "closed"), ("beside", {"name": "a.toml"}, "text"),
        ("stop", {"all": True}, "all"), ("end", {"all": True}, "all"), ("session", {"id": "x"}, "id"),
    ],
)  # fmt: skip
def test_requests_that_say_what_they_may_not_are_refused_by_its_name(page, path, body, where):
    assert problem_of(page.post(f"/api/{path}", json=body))["where"] == where


@pytest.mark.parametrize(
    "text",
    [
        "a" + ".a" * 40_000 + " = 1", "[a" + ".a" * 40_000 + "]", "x = { " + "'a b' . " * 5_000 + "c = 1 }",
        '"' + '"."'.join("a" * 2_000) + '" = 1',
    ],
)  # fmt: skip
def test_keys_that_would_take_minutes_to_read_are_refused(page, text):
    scene = {"scene": {"kind": "hang"}}
    for path, more in (("look", {}), ("rest", scene), ("files", {}), ("beside", {"name": "a.toml"})):
        problem = problem_of(page.post(f"/api/{path}", json={"text": text, **more}))
        assert problem["where"] == "text"
        assert "64 parts" in problem["expected"]


@pytest.mark.parametrize(
    "text",
    [
        "a.b.c = 1", "[rings.link]\n" * 100, "# 3.1 3.2 " * 100, "x = [" + "1.5, " * 500 + "]", "." * 500,
        'title = "' + "and so on... " * 100 + '"', '"' * 1_000, "a" * 1_000, "a. " * 63,
    ],
)  # fmt: skip
def test_others_are_not(text):
    assert not has_endless_key(text)


@pytest.mark.parametrize(
    "path", ["/nothing", "/api/", "/api/nothing", "/assets/nothing.js", "/files", "/api/look/"]
)
def test_addresses_that_are_none_are_not_found(page, path):
    assert problem_of(page.get(path), 404)["where"] == "the address"


def test_methods_that_do_not_go_with_an_address(page):
    assert problem_of(page.get("/api/look"), 405)
    assert problem_of(page.post("/", json={}), 405)
    answer = page.request("OPTIONS", "/api/look")
    assert problem_of(answer, 405)
    assert not [name for name in answer.headers if name.startswith("access-control")]


# --- raw connections --------------------------------------------------------------------------------


def status_of(answer):
    return int(answer.split(b" ", 2)[1])


@pytest.mark.parametrize(
    "content",
    [
        b"", b"GET", b"\r\n\r\n", b"\0" * 100, b"GET / HTTP/9.9\r\n\r\n", b"GET /\r\n\r\n",
        "G\u00c9T / HTTP/1.1\r\n\r\n".encode(),
        b"GET / HTTP/1.1\r\nHost\r\n\r\n", b"GET / HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
        b"POST /api/look HTTP/1.1\r\nHost: x\r\nContent-Length: -1\r\n\r\n",
        b"POST /api/look HTTP/1.1\r\nHost: x\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\nhello",
        b"POST /api/look HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
        b"GET / HTTP/1.1\r\nHost: x\r\n" + b"x-a: b\r\n" * 20_000 + b"\r\n",
        b"GET /" + b"a" * 100_000 + b" HTTP/1.1\r\nHost: x\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
    ],
)  # fmt: skip
def test_odd_bytes_do_not_end_the_server(server, content):
    if answer := server.raw(content):
        assert 400 <= status_of(answer) < 500
    with server.client() as client:
        assert client.get("/").status_code == 200


def test_half_a_request_holds_up_nobody(server):
    head = (
        f"POST /api/session HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n"
        "Content-Type: application/json\r\nContent-Length: 2\r\n\r\n"
    )
    halves = [b"GET / HT", head.encode(), head.encode() + b"{"]
    open_ones = [socket.create_connection(("127.0.0.1", server.port)) for _ in range(3) for _ in halves]
    try:
        for connection, half in zip(open_ones, halves * 3, strict=True):
            connection.sendall(half)
        with server.client() as client:
            assert client.post("/api/session", json={}).status_code == 200
    finally:
        for connection in open_ones:
            connection.close()


def test_a_forwarded_address_is_no_address(server):
    headers = {
        "X-Forwarded-For": "8.8.8.8",
        "X-Forwarded-Host": "workshop.example",
        "X-Forwarded-Proto": "https",
    }
    with server.client(headers=headers) as client:
        assert client.get("/").status_code == 200
    with server.client(
        headers={"Host": "workshop.example", "X-Forwarded-Host": f"127.0.0.1:{server.port}"}
    ) as client:
        assert client.get("/").status_code == 403


def test_the_server_is_of_this_machine_alone(server):
    for address in {info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None)} - {"127.0.0.1"}:
        with pytest.raises(httpx.TransportError):
            httpx.get(
                f"http://{address}:{server.port}/"
                if ":" not in address
                else f"http://[{address}]:{server.port}/",
                trust_env=False,
            )


# --- the end ----------------------------------------------------------------------------------------


def test_an_end_stops_the_answers_that_are_under_way(tmp_path):
    with served() as ending, ending.page() as client:
        text = f"stubborn {tmp_path / 'never'}"
        with client.stream("POST", "/api/look", json={"text": text}) as answer:
            lines = answer.iter_lines()
            next(lines)
            wait_until(lambda: (tmp_path / "never.begun").exists())
            ending.workers.close()
            assert json.loads(list(lines)[-1]) == {"stopped": ENDING}


def test_what_findings_need_is_made_ready_before_it_is_asked(monkeypatch, tmp_path):
    """So that the first piece with findings need not wait for it."""
    monkeypatch.setattr(server_module, "AFTERWARDS", 0.1)
    monkeypatch.setenv("READY_MARK", str(tmp_path / "ready"))
    with served():
        wait_until((tmp_path / "ready").exists)
