"""The server's temporary folder: nobody else's, and what killed servers left goes with the next one."""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from chaingen.errors import BadInput
from chaingen.page import own_folder as module
from chaingen.page.own_folder import LOCK, PREFIX, own_folder

ROOT = Path(__file__).parents[1]


@pytest.fixture(autouse=True)
def place(monkeypatch, tmp_path):
    """Where temporary folders go."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


def left_behind(place, name="left", mode=0o700):
    """A folder as a server leaves it that is killed."""
    folder = place / f"{PREFIX}{name}"
    (folder / "session" / "sets").mkdir(parents=True)
    (folder / "session" / "sets" / "piece.stl").write_bytes(b"x")
    folder.chmod(mode)
    (folder / LOCK).touch(0o600)
    return folder


def test_it_is_of_its_user_alone_and_goes_in_the_end(place):
    with own_folder() as folder:
        assert folder.parent == place
        assert folder.stat().st_mode & 0o777 == 0o700
        (folder / "within").write_text("x")
    assert list(place.iterdir()) == []


def test_what_a_killed_server_left_goes_when_the_next_one_starts(place):
    script = (
        "import os, signal\n"
        "from chaingen.page.own_folder import own_folder\n"
        "with own_folder() as folder:\n"
        "    (folder / 'session').mkdir()\n"
        "    print(folder, flush=True)\n"
        "    input()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", script], stdin=subprocess.PIPE, stdout=subprocess.PIPE, encoding="utf-8",
        env={**os.environ, "TMPDIR": str(place)}, cwd=ROOT,
    ) as other:  # fmt: skip
        folder = Path(other.stdout.readline().strip())
        with own_folder():
            assert folder.is_dir()  # its server goes on
        other.kill()
        other.wait()
        assert folder.is_dir()
    with own_folder() as own:
        assert list(place.iterdir()) == [own]


def test_two_in_one_program_keep_theirs():
    with own_folder() as one, own_folder() as two:
        assert one.is_dir()
        assert two.is_dir()


def test_what_may_be_anothers_is_left_alone(place, monkeypatch):
    shared = left_behind(place, "shared", mode=0o770)
    unlocked = place / f"{PREFIX}unlocked"
    unlocked.mkdir(0o700)
    other_name = place / "pictures"
    left_behind(place).rename(other_name)
    (place / f"{PREFIX}file").touch(0o600)
    open_lock = left_behind(place, "open-lock")
    (open_lock / LOCK).chmod(0o666)
    before = set(place.iterdir())
    with own_folder() as own:
        assert set(place.iterdir()) == before | {own}
    assert (shared / LOCK).exists()
    of_another = left_behind(place, "of-another")
    monkeypatch.setattr(module.os, "getuid", lambda: 12_345)
    with own_folder():
        assert (of_another / "session").is_dir()


def test_no_link_is_followed(place, tmp_path_factory):
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    kept = left_behind(elsewhere, "kept")
    (place / f"{PREFIX}link").symlink_to(kept)
    # A lock that is a link, a pipe or a folder is none.
    odd = [left_behind(place, name) for name in ("link-lock", "pipe-lock", "folder-lock")]
    for folder in odd:
        (folder / LOCK).unlink()
    (odd[0] / LOCK).symlink_to(kept / LOCK)
    os.mkfifo(odd[1] / LOCK, 0o600)
    (odd[2] / LOCK).mkdir(0o700)
    # One that leads out of what is removed is removed itself.
    left = left_behind(place)
    (left / "session" / "out").symlink_to(kept)
    with own_folder():
        assert not left.exists()
        assert all(folder.is_dir() for folder in odd)
    assert (kept / "session" / "sets" / "piece.stl").exists()
    assert (place / f"{PREFIX}link").is_symlink()


def test_where_none_can_be_made_it_is_told(place, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(place / "none"))
    with pytest.raises(BadInput, match="the folder for temporary files"), own_folder():
        pass


def test_where_there_are_no_locks_nothing_is_removed(place, monkeypatch):
    left = left_behind(place)
    monkeypatch.setattr(module, "fcntl", None)
    with own_folder():
        assert left.is_dir()
