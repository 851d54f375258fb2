"""The command `page`: what it opens with, how it ends, and that it loads nothing until it runs."""

import os
import signal
import socket
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from chaingen.design.starter import starter_design
from chaingen.errors import BadInput
from chaingen.page.requests import MOST_BESIDE, MOST_TEXT
from chaingen.page.serve import bound, first_design
from tests.page_serving import wait_until

ROOT = Path(__file__).parents[1]
WEAVE = ROOT / "chaingen" / "weave" / "catalogue_files" / "byzantine.toml"


@contextmanager
def command(*args, **options):
    with subprocess.Popen(
        [sys.executable, "-m", "chaingen.cli", "page", *map(str, args)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8", cwd=ROOT, **options,
    ) as process:  # fmt: skip
        try:
            yield process
        finally:
            process.kill()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_it_is_served_until_it_is_ended_and_leaves_nothing(tmp_path, number):
    design = tmp_path / "slipway.toml"
    design.write_text(starter_design("two-in-one", repeat=3, title="Slipway"))
    environment = {**os.environ, "TMPDIR": str(tmp_path)}
    with command(design, "--no-browser", env=environment) as page:
        line = page.stdout.readline()
        assert line.startswith("The page is at http://127.0.0.1:")
        address = line.split()[4]
        with httpx.Client(base_url=address, trust_env=False, timeout=60.0) as client:
            assert client.get("/").status_code == 200
            told = client.post("/api/session", json={}).json()
            assert told["first"]["name"] == "slipway.toml"
            assert 'title = "Slipway"' in told["first"]["text"]
            assert len(told["catalogue"]) >= 28
            folders = [entry for entry in tmp_path.iterdir() if entry.is_dir()]
            assert [folder.name[:14] for folder in folders] == ["chaingen-page-"]
            assert {entry.name for entry in folders[0].iterdir()} == {"first", "lock", told["session"]}
            assert folders[0].stat().st_mode & 0o077 == 0
            page.send_signal(number)
            out, errors = page.communicate(timeout=60)
    assert (page.returncode, out, errors) == (0, "The page has ended.\n", "")
    assert [entry.name for entry in tmp_path.iterdir()] == ["slipway.toml"]


def test_an_end_before_it_is_served_is_as_orderly(tmp_path):
    script = (
        "import os, signal, chaingen.page.catalogue as catalogue\n"
        "from chaingen.page.serve import serve\n"
        "catalogue.session_data = lambda: os.kill(os.getpid(), signal.SIGINT)\n"
        "if __name__ == '__main__': serve(None, port=0, browser=False, say=print, jobs='tests.page_jobs')\n"
    )
    (tmp_path / "early.py").write_text(script)
    outcome = subprocess.run(
        [sys.executable, str(tmp_path / "early.py")],
        capture_output=True, encoding="utf-8", timeout=60, cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert (outcome.returncode, outcome.stdout, outcome.stderr) == (0, "The page has ended.\n", "")


def test_the_browser_is_opened_unless_not_wanted(monkeypatch):
    from chaingen.page import serve as module

    class Over(Exception):
        pass

    def begin(coroutine):
        coroutine.close()
        raise Over

    opened, said = [], []
    monkeypatch.setattr(module.webbrowser, "open", lambda address: opened.append(address) or False)
    monkeypatch.setattr(module.asyncio, "run", begin)
    for browser in (False, True):
        with pytest.raises(Over):
            module.serve(None, port=0, browser=browser, say=said.append, jobs="tests.page_jobs")
    wait_until(lambda: len(said) == 3)
    assert len(opened) == 1
    assert opened[0] in said[1]
    assert said[2] == "No browser could be opened: open that address in one on this machine."


def test_a_port_that_is_taken_is_told(run):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        outcome = run("page", "--no-browser", "--port", taken.getsockname()[1], code=2)
    assert outcome.stderr.startswith("error: --port: got ")
    assert run("page", "--port", "70000", code=2)


def test_a_port_is_to_be_had_again_at_once():
    with bound(0) as listening:
        port = listening.getsockname()[1]
        with socket.create_connection(("127.0.0.1", port)) as client:
            served, _ = listening.accept()
            served.close()  # the side that closes first waits, lest something comes late
            assert client.recv(1) == b""
    with bound(port) as again:
        assert again.getsockname()[1] == port
        with pytest.raises(BadInput, match="cannot be had"):
            bound(port)


@pytest.mark.parametrize("command", ['"unclosed %s', "/nonexistent/browser %s", ""])
def test_a_browser_that_cannot_be_run_is_told(monkeypatch, command):
    from chaingen.page import serve as module

    monkeypatch.setenv("BROWSER", command)
    monkeypatch.setenv("PATH", "/nonexistent")
    monkeypatch.setattr(module.webbrowser, "_tryorder", None)
    monkeypatch.setattr(module.webbrowser, "_browsers", {})
    said = []
    module._open("http://127.0.0.1:1/", said.append)
    assert said == ["No browser could be opened: open that address in one on this machine."]


def buffered(environment):
    """The same environment, where Python keeps what is printed until a line is full or it ends."""
    return {key: value for key, value in environment.items() if key != "PYTHONUNBUFFERED"}


def test_the_end_of_its_terminal_ends_it_cleanly(tmp_path):
    import pty

    ours, theirs = pty.openpty()
    script = (
        "import fcntl, sys, termios\n"
        "fcntl.ioctl(0, termios.TIOCSCTTY, 0)\n"
        "from chaingen.cli import main\n"
        "main(['page', '--no-browser'])\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", script], stdin=theirs, stdout=theirs, stderr=theirs, cwd=ROOT,
        env={**buffered(os.environ), "TMPDIR": str(tmp_path)}, start_new_session=True,
    ) as process:  # fmt: skip
        try:
            os.close(theirs)
            assert b"The page is at" in os.read(ours, 200)
            os.close(ours)
            assert process.wait(60) == 0
        finally:
            process.kill()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("let_go", "code"), [("let_go_of_output()", 0), ("pass", 120)])
def test_what_nobody_hears_any_more_is_no_failure(let_go, code):
    """Python ends with 120 where it cannot print what is left."""
    script = f"import sys\nfrom chaingen.cli.app import let_go_of_output\nprint('ended')\n{let_go}\n"
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-c", script], stdout=full, stderr=subprocess.DEVNULL, env=buffered(os.environ)
        )
    assert done.returncode == code


def test_the_socket_is_of_this_machine_alone():
    with bound(0) as listening:
        assert listening.getsockname()[0] == "127.0.0.1"


def test_what_cannot_be_read_is_told_and_not_opened(run, tmp_path):
    assert "no such file" in run("page", "none.toml", "--no-browser", code=2).stderr
    Path("binary.toml").write_bytes(b"\xff\xfe\x00")
    assert "UTF-8" in run("page", "binary.toml", "--no-browser", code=2).stderr
    Path("long.toml").write_text("#" * (MOST_TEXT + 1))
    assert f"over {MOST_TEXT:,} bytes" in run("page", "long.toml", "--no-browser", code=2).stderr
    Path("endless.toml").write_text("a" + ".a" * 60_000 + " = 1")
    assert "very many parts" in run("page", "endless.toml", "--no-browser", code=2).stderr
    Path("a.toml").write_text("")
    assert "no such file" in run("page", "a.toml", "--settings", "w.toml", "--no-browser", code=2).stderr


def test_a_design_with_problems_is_opened_with_them(tmp_path):
    path = tmp_path / "bad.toml"
    for text in ("[rings", 'metal = "unobtainium"\n', "x = 1\n" * 3, ""):
        path.write_text(text)
        assert first_design(path, None).text == text
    assert first_design(path, None).beside == {}


def test_files_that_a_design_names_come_with_it(tmp_path):
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "mine.toml").write_bytes(WEAVE.read_bytes())
    (tmp_path / "workshop.toml").write_text("[bench]\n")
    path = tmp_path / "design.toml"
    path.write_text('settings = "workshop.toml"\n[pattern]\nweave = "other/mine.toml"\n')
    first = first_design(path, None)
    assert first.name == "design.toml"
    assert first.beside == {"mine.toml": WEAVE.read_bytes(), "workshop.toml": b"[bench]\n"}
    # What is not there is a problem that the page shows.
    path.write_text('settings = "elsewhere.toml"\n[pattern]\nweave = "byzantine"\n')
    assert first_design(path, None).beside == {}


@pytest.mark.parametrize("name", ["bench.txt", "other/bench.txt", "con.toml", "a:b.toml", ".toml", "..", ""])
def test_a_file_that_the_page_would_not_take_is_left_to_the_page_to_tell(tmp_path, name):
    (tmp_path / "other").mkdir()
    if name.strip("."):
        (tmp_path / name).write_text("[bench]\n")
    (tmp_path / "mine.toml").write_bytes(WEAVE.read_bytes())
    path = tmp_path / "design.toml"
    path.write_text(f'settings = "{name}"\n[pattern]\nweave = "mine.toml"\n')
    first = first_design(path, None)
    assert first.text == path.read_text()
    assert first.beside == {"mine.toml": WEAVE.read_bytes()}


def test_settings_that_are_given_under_such_a_name_are_told_by_their_option(run, tmp_path):
    Path("bench.txt").write_text("[bench]\n")
    Path("design.toml").write_text(starter_design("two-in-one", repeat=3))
    for design in (["design.toml"], []):
        told = run("page", *design, "--settings", "bench.txt", "--no-browser", code=2).stderr
        assert told.startswith("error: --settings: got 'bench.txt'")


def test_settings_that_are_given_stand_in_the_text_for_those_it_names(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text("[bench]\n")
    path = tmp_path / "design.toml"
    path.write_text('title = "Slipway"  # kept\nsettings = "workshop.toml"\n')
    first = first_design(path, own)
    assert first.text == 'title = "Slipway"  # kept\nsettings = "own.toml"\n'
    assert first.beside == {"own.toml": b"[bench]\n"}
    starter = first_design(None, own)
    assert 'settings = "own.toml"' in starter.text
    assert first_design(None, None) is None


def test_files_of_one_name_or_too_large_ones_are_told(tmp_path):
    for folder, content in (("a", "x = 1\n"), ("b", "x = 2\n")):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "same.toml").write_text(content)
    path = tmp_path / "design.toml"
    path.write_text('settings = "a/same.toml"\n[pattern]\nweave = "b/same.toml"\n')
    with pytest.raises(BadInput, match="same name"):
        first_design(path, None)
    (tmp_path / "a" / "same.toml").write_text("#" * (MOST_BESIDE + 1))
    path.write_text('settings = "a/same.toml"\n')
    with pytest.raises(BadInput, match=f"over {MOST_BESIDE:,} bytes"):
        first_design(path, None)


def test_help_of_the_page_loads_click_alone():
    script = (
        "import sys, chaingen.cli\n"
        "try: chaingen.cli.main(['page', '--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'pydantic', 'starlette', 'uvicorn', 'tomlkit', 'asyncio', 'multiprocessing'}\n"
        "heavy |= {'h11', 'anyio', 'socket', 'webbrowser', 'numba', 'scipy'}\n"
        "heavy |= {name for name in sys.modules if name.startswith('chaingen.page')}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)\n"
    )
    outcome = subprocess.run([sys.executable, "-c", script], capture_output=True, encoding="utf-8", cwd=ROOT)
    assert outcome.stderr.strip() == "[]"
    assert outcome.stdout.startswith("Usage:")
