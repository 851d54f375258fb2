import errno
import os
import stat
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaingen import files
from chaingen.errors import CannotWrite
from chaingen.files import staged, whole_file, write_text

FULL = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def raiser(error):
    def fail(*_, **__):
        raise error

    return fail


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "report.json"
    path.write_bytes(b"old")
    return path


def assert_untouched(path):
    assert path.read_bytes() == b"old"
    assert [entry.name for entry in path.parent.iterdir()] == [path.name]


@given(content=st.binary(max_size=4000))
def test_what_is_written_is_read(content, tmp_path_factory):
    path = tmp_path_factory.mktemp("bytes") / "a.bin"
    with whole_file(path) as stream:
        stream.write(content)
    assert path.read_bytes() == content


def test_text_is_utf_8_as_given(tmp_path):
    write_text(tmp_path / "a.txt", "7 ¼ in\r\nfor the pier\n")
    assert (tmp_path / "a.txt").read_bytes() == "7 ¼ in\r\nfor the pier\n".encode()


def test_missing_folders_are_made(tmp_path):
    write_text(tmp_path / "a" / "b" / "c.txt", "x")
    assert (tmp_path / "a" / "b" / "c.txt").read_text() == "x"


def test_an_old_file_is_replaced_and_its_neighbours_stand(path):
    (path.parent / "mine.txt").write_text("stays")
    write_text(path, "new")
    assert path.read_text() == "new"
    assert sorted(entry.name for entry in path.parent.iterdir()) == ["mine.txt", "report.json"]
    assert (path.parent / "mine.txt").read_text() == "stays"


def test_nothing_shows_before_the_end(path):
    with whole_file(path) as stream:
        stream.write(b"new")
        stream.flush()
        assert path.read_bytes() == b"old"
    assert path.read_bytes() == b"new"


def test_content_reaches_the_disk_before_the_name(path, monkeypatch):
    done = []
    fsync, replace = os.fsync, os.replace

    def note_fsync(handle):
        done.append(("fsync", os.fstat(handle).st_size))
        fsync(handle)

    def note_replace(source, target):
        done.append(("replace", str(target)))
        replace(source, target)

    monkeypatch.setattr(os, "fsync", note_fsync)
    monkeypatch.setattr(os, "replace", note_replace)
    write_text(path, "12345")
    assert done == [("fsync", 5), ("replace", str(path))]


@pytest.mark.parametrize("error", [ValueError("stop"), KeyboardInterrupt(), SystemExit(1)])
def test_an_interruption_leaves_the_old_file(path, error):
    with pytest.raises(type(error)), whole_file(path) as stream:  # noqa: PT012 - the block has to be left half way
        stream.write(b"half")
        raise error
    assert_untouched(path)


@pytest.mark.parametrize("call", ["fsync", "replace", "fdopen"])
def test_a_full_disk_leaves_the_old_file(path, monkeypatch, disk_with, call):
    if call == "fdopen":
        # The disk fills up while content is written.
        disk_with(4)
    else:
        monkeypatch.setattr(os, call, raiser(FULL))
    with pytest.raises(CannotWrite, match="No space left on device") as refusal:
        write_text(path, "longer than four bytes")
    assert str(path) in str(refusal.value)
    monkeypatch.undo()
    assert_untouched(path)


def test_a_full_disk_leaves_no_new_file(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "fsync", raiser(FULL))
    with pytest.raises(CannotWrite):
        write_text(tmp_path / "a.txt", "x")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_may_not_be_written(path, monkeypatch):
    denied = PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    monkeypatch.setattr(files.tempfile, "mkstemp", raiser(denied))
    with pytest.raises(CannotWrite, match="Permission denied"):
        write_text(path, "new")
    assert_untouched(path)


def test_a_file_where_a_folder_should_be(path):
    for place in (path / "a.txt", path / "deeper" / "a.txt"):
        with pytest.raises(CannotWrite, match="cannot write"):
            write_text(place, "new")
    assert_untouched(path)


def test_a_folder_where_the_file_should_be(tmp_path):
    (tmp_path / "a.txt").mkdir()
    with pytest.raises(CannotWrite, match="cannot write"):
        write_text(tmp_path / "a.txt", "x")
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.txt"]
    assert list((tmp_path / "a.txt").iterdir()) == []


def test_an_error_without_words_of_its_own(path, monkeypatch):
    monkeypatch.setattr(os, "fsync", raiser(OSError("the drive was pulled out")))
    with pytest.raises(CannotWrite, match="the drive was pulled out"):
        write_text(path, "new")


def test_usual_permissions(tmp_path):
    # Others may read a finished file as far as the user's umask lets them; Windows has no such bits.
    old = os.umask(0o022)
    try:
        write_text(tmp_path / "a.txt", "x")
        assert os.umask(0o022) == 0o022
    finally:
        os.umask(old)
    mode = stat.S_IMODE((tmp_path / "a.txt").stat().st_mode)
    assert mode == (0o666 if sys.platform == "win32" else 0o644)


class TestStaged:
    """Many files that appear together or not at all."""

    def test_they_appear_beside_others(self, tmp_path):
        (tmp_path / "out").mkdir()
        (tmp_path / "out" / "mine.txt").write_text("stays")
        with staged(tmp_path / "out") as stage:
            write_text(stage / "a.txt", "a")
            write_text(stage / "deep" / "b.txt", "b")
            assert not (tmp_path / "out" / "a.txt").exists()
        names = sorted(p.relative_to(tmp_path / "out").as_posix() for p in (tmp_path / "out").rglob("*"))
        assert names == ["a.txt", "deep", "deep/b.txt", "mine.txt"]

    def test_a_failure_leaves_no_trace(self, tmp_path):
        def fail():
            with staged(tmp_path / "new" / "out") as stage:
                write_text(stage / "a.txt", "a")
                raise RuntimeError

        with pytest.raises(RuntimeError):
            fail()
        assert not list(tmp_path.iterdir())

    def test_a_folder_in_the_way_of_a_file_changes_nothing(self, tmp_path):
        (tmp_path / "b.txt").mkdir()
        (tmp_path / "a.txt").write_text("old")

        def write():
            with staged(tmp_path) as stage:
                write_text(stage / "a.txt", "new")
                write_text(stage / "b.txt", "new")

        with pytest.raises(CannotWrite, match=r"b\.txt"):
            write()
        assert (tmp_path / "a.txt").read_text() == "old"


def test_a_link_is_followed_and_a_long_name_is_no_matter(tmp_path):
    (tmp_path / "real.txt").write_text("old")
    (tmp_path / "link.txt").symlink_to(tmp_path / "real.txt")
    write_text(tmp_path / "link.txt", "new")
    assert (tmp_path / "link.txt").is_symlink()
    assert (tmp_path / "real.txt").read_text() == "new"
    write_text(tmp_path / ("n" * 250 + ".txt"), "long")
    assert (tmp_path / ("n" * 250 + ".txt")).read_text() == "long"


def test_what_is_not_a_file_is_not_replaced(tmp_path):
    (tmp_path / "folder").mkdir()
    with pytest.raises(CannotWrite, match="not a file"):
        write_text(tmp_path / "folder", "x")
