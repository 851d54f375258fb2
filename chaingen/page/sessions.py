"""What the server keeps of each opened page, apart from all others.

Each has a random name that cannot be guessed and a folder below the server's temporary one, which goes away
when the server ends. Nothing that a request says is ever made into a path, but for the name of a file beside
a design, which is a plain name by then.
"""

import hashlib
import secrets
import shutil
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from chaingen.errors import BadInput, Problem

MOST_SESSIONS = 16

MOST_SETS = 2
"""So many exports are kept of each page."""

MOST_BESIDE = 20
"""So many files may lie beside the design of a page."""

BESIDE, SETS = "beside", "sets"
"""Folders in that of a session: files beside its design, and what it exported."""


@dataclass(frozen=True, slots=True)
class FileSet:
    """What was exported at once.

    Attributes:
        folder: Where it lies.
        paths: By the path below it, as it is asked for, the file.
    """

    folder: Path
    paths: Mapping[str, Path]


@dataclass(eq=False)
class Session:
    """One opened page.

    Attributes:
        id: Its name.
        folder: Its folder.
        last: What its last full look left for the next quick ones; pickled.
        sets: What it exported, by number.
        beside: Digests of the files beside its design, by name.
    """

    id: str
    folder: Path
    last: bytes | None = None
    sets: dict[str, FileSet] = field(default_factory=dict)
    beside: dict[str, str] = field(default_factory=dict)
    used: float = field(default_factory=time.monotonic)
    count: int = 0

    def __post_init__(self) -> None:
        self._counting = threading.Lock()
        with _told_where_no_room():
            for name in (BESIDE, SETS):
                (self.folder / name).mkdir(mode=0o700, parents=True, exist_ok=True)

    @property
    def beside_folder(self) -> Path:
        """Where the files beside its design lie."""
        return self.folder / BESIDE

    def put_beside(self, name: str, content: bytes) -> None:
        """Keep a file beside the design, in place of one of the same name.

        Args:
            name: A plain name of a file; see `requests.base_name`.
            content: What is in it.

        Raises:
            BadInput: There are too many already, or it cannot be kept.
        """
        if name not in self.beside and len(self.beside) >= MOST_BESIDE:
            raise BadInput([Problem("name", f"file {MOST_BESIDE + 1}", f"at most {MOST_BESIDE} files")])
        try:
            # In the place of what is there, whatever that is: it is neither followed nor seen half written.
            unnamed = self.folder / "unnamed"
            unnamed.write_bytes(content)
            unnamed.replace(self.beside_folder / name)
        except (OSError, ValueError) as error:
            got = str(getattr(error, "strerror", None) or error)
            raise BadInput([Problem("name", got, "a file that can be kept")]) from None
        self.beside[name] = hashlib.sha256(content).hexdigest()

    def next_set(self) -> tuple[str, Path]:
        """The number and the folder for what is exported next; what earlier exports left unfinished goes.

        Raises:
            BadInput: There can be no folder.
        """
        with self._counting, _told_where_no_room():
            for left in (self.folder / SETS).iterdir():
                if left.is_dir() and left.name not in self.sets:
                    shutil.rmtree(left, ignore_errors=True)
            self.count += 1
            folder = self.folder / SETS / str(self.count)
            folder.mkdir(mode=0o700)
            return str(self.count), folder

    def keep_set(self, number: str, folder: Path, paths: list[str]) -> None:
        """Keep what was exported; the oldest exports go where there are too many.

        Args:
            number: What `next_set` gave.
            folder: Its folder.
            paths: The files below it, with slashes.
        """
        root = folder.resolve()
        found = {}
        for path in paths:
            file = (root / PurePosixPath(path)).resolve()
            if file.is_relative_to(root) and file.is_file():
                found[path] = file
        self.sets[number] = FileSet(root, found)
        while len(self.sets) > MOST_SETS:
            oldest = self.sets.pop(next(iter(self.sets)))
            shutil.rmtree(oldest.folder, ignore_errors=True)
            oldest.folder.with_suffix(".zip").unlink(missing_ok=True)

    def remove(self) -> None:
        """Remove its folder with all that is in it."""
        with self._counting:
            shutil.rmtree(self.folder, ignore_errors=True)


@contextmanager
def _told_where_no_room() -> Iterator[None]:
    """Tell in words why nothing can be kept.

    Raises:
        BadInput: The system refused.
    """
    try:
        yield
    except OSError as error:
        got = error.strerror or str(error)
        raise BadInput(
            [Problem("the folder of this page", got, "room there", "free some, then try again")]
        ) from None


class Sessions:
    """All opened pages.

    Args:
        folder: Where their folders go.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._all: dict[str, Session] = {}

    def __len__(self) -> int:
        return len(self._all)

    def open(self, beside: Mapping[str, bytes] | None = None) -> Session:
        """A new session.

        Args:
            beside: Files beside the design that it begins with, by name.
        """
        name = secrets.token_hex(16)
        session = Session(name, self.folder / name)
        for file, content in (beside or {}).items():
            session.put_beside(file, content)
        self._all[name] = session
        return session

    def find(self, name: str) -> Session | None:
        """The session of a name, which is in use again now."""
        session = self._all.get(name)
        if session is not None:
            session.used = time.monotonic()
        return session

    def forget(self, session: Session) -> None:
        """Find a session no longer. Its folder stays until `Session.remove`."""
        self._all.pop(session.id, None)

    def forget_oldest(self) -> Session | None:
        """Forget the one that was left alone longest, where there are too many; returns it, else None."""
        if len(self._all) <= MOST_SESSIONS:
            return None
        oldest = min(self._all.values(), key=lambda session: session.used)
        self.forget(oldest)
        return oldest
