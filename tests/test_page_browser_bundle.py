"""What the page is made of: its bundle as npm makes it anew, its HTML as a validator sees it.

HTML_VALIDATE names the validator of HTML, else it is taken from the path, as npm is.
"""

import json
import os
import shutil
import subprocess
from pathlib import Path

import pytest

pytestmark = pytest.mark.browser

PAGE = Path(__file__).parents[1] / "chaingen" / "page"


def test_bundle_is_what_npm_makes_of_it(tmp_path):
    """From the lock file alone: the same bytes."""
    npm = shutil.which("npm")
    assert npm, "no npm on the path"
    bundle = tmp_path / "bundle"
    shutil.copytree(PAGE / "bundle", bundle, ignore=shutil.ignore_patterns("node_modules"))
    (tmp_path / "assets").mkdir()
    for command in (["ci", "--no-audit", "--no-fund"], ["run", "build"]):
        done = subprocess.run([npm, *command], cwd=bundle, capture_output=True, text=True)
        assert done.returncode == 0, done.stdout + done.stderr
    made = (tmp_path / "assets" / "three.js").read_bytes()
    assert made == (PAGE / "assets" / "three.js").read_bytes()
    assert (bundle / "LICENSE-three.txt").read_bytes() == (PAGE / "bundle" / "LICENSE-three.txt").read_bytes()


def test_validator_finds_nothing(tmp_path):
    """html-validate, its recommended rules."""
    place = os.environ.get("HTML_VALIDATE") or shutil.which("html-validate")
    assert place, "no html-validate on the path"
    shutil.copy(PAGE / "assets" / "index.html", tmp_path)
    (tmp_path / ".htmlvalidate.json").write_text(
        json.dumps({"root": True, "extends": ["html-validate:recommended"]})
    )
    done = subprocess.run(
        [place, "--max-warnings", "0", "index.html"], cwd=tmp_path, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout + done.stderr
