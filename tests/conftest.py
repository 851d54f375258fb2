import errno
import io
import os

import numpy as np
import pytest
from click.testing import CliRunner

from chaingen import files
from chaingen.cli import main
from chaingen.geometry.bodies import Bodies
from chaingen.weave.groups import Group, GroupKind, RingSize
from tests.page_server import served

AWG_18, AWG_16 = 1.0237, 1.2908


def size(inside, wire=AWG_18, name="link"):
    return RingSize(name, inside, wire)


def side(count, ring):
    return Group(GroupKind.SIDE_BY_SIDE, count, ring)


def rosette(count, ring):
    return Group(GroupKind.ROSETTE, count, ring)


def join(count, ring):
    return Group(GroupKind.JOIN, count, ring)


def rings_of(*rows):
    """Rings from rows of (centre, normal, radius, wire radius)."""
    normals = np.array([row[1] for row in rows], dtype=float)
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    return Bodies(
        np.array([row[0] for row in rows], dtype=float),
        normals,
        np.array([row[2] for row in rows], dtype=float),
        np.array([row[3] for row in rows], dtype=float),
    )


def random_rings(rng, count, *, spread=1.0):
    normals = rng.normal(size=(count, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    return Bodies(
        spread * rng.normal(size=(count, 3)),
        normals,
        rng.uniform(0.5, 1.5, count),
        rng.uniform(0.02, 0.1, count),
    )


@pytest.fixture
def rng():
    return np.random.default_rng(20)


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Runs a command in an empty folder; none may show a traceback or fail by a fault of its own."""
    monkeypatch.chdir(tmp_path)

    def command(*args, code=0, stdin=None):
        outcome = CliRunner().invoke(main, [str(arg) for arg in args], input=stdin)
        assert "Traceback" not in outcome.output
        assert outcome.exit_code == code, outcome.output
        return outcome

    return command


@pytest.fixture
def disk_with(monkeypatch):
    """Makes the disk take so many bytes of a file and no more."""

    def fill(room):
        class Filling(io.FileIO):
            def write(self, data):
                if self.tell() + len(data) > room:
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                return super().write(data)

        monkeypatch.setattr(files.os, "fdopen", lambda handle, mode: Filling(handle, mode))

    return fill


@pytest.fixture(scope="session")
def server(tmp_path_factory):
    """A server of the page for all tests that neither end it nor fill it."""
    with served(tmp_path_factory.mktemp("page")) as server:
        yield server
