"""Jobs that do what their text says, to try the workers and the server with."""

import os
import pickle
import signal
import sys
import time
from pathlib import Path

from chaingen.errors import BadInput, CannotWrite, Problem


def warm():
    """Nothing is slow."""


def ready_findings(arguments, tell):
    """Leaves a file where a test names one."""
    if "READY_MARK" in os.environ:
        Path(os.environ["READY_MARK"]).touch()
    return {}


def _wait_for(path, tell=None):
    """Wait until a test makes a file."""
    for _ in range(60_000):
        if Path(path).exists():
            return
        if tell is not None:
            tell({"progress": "waiting for a file"})
        time.sleep(0.01)
    raise TimeoutError(path)


def look(arguments, tell):
    text = arguments["text"]
    what, _, rest = text.partition(" ")
    if what == "progress":
        for number in range(3):
            tell({"progress": f"step {number + 1}"})
            time.sleep(0.06)
    elif what == "wait":
        tell({"progress": "begun"})
        Path(rest + ".begun").touch()
        _wait_for(rest, tell)
    elif what == "stubborn":
        Path(rest + ".begun").touch()
        _wait_for(rest)
    elif what == "bad":
        raise BadInput([Problem("rings.link.wire", "'thick'", "a wire")])
    elif what == "full":
        raise CannotWrite("the disk is full")
    elif what == "broken":
        raise RuntimeError("something is wrong")
    elif what == "endless":
        raise RecursionError
    elif what == "nan":
        return {"look": float("nan")}
    elif what == "large":
        return {"look": "x" * int(rest)}
    elif what == "poses":
        tell({"piece": {}, "supports": []})
        for number in range(int(rest)):
            tell({"poses": str(number)})
    elif what == "exit":
        sys.exit(int(rest))
    elif what == "signal":
        os.kill(os.getpid(), getattr(signal, rest))
    kept = pickle.dumps(text)
    last = None if arguments.get("last") is None else pickle.loads(arguments["last"])
    beside = (
        sorted(path.name for path in Path(arguments["folder"]).iterdir()) if "folder" in arguments else []
    )
    found = {"pid": os.getpid(), "last": last, "beside": beside}
    answer = {"look": found, "text": text, "controls": None, "problems": []}
    return answer if arguments.get("quick") else {**answer, "_keep": kept}


def rest(arguments, tell):
    tell({"piece": {}, "supports": []})
    tell({"poses": "AAAA"})
    return {"rest": {"kind": arguments["scene"]["kind"], "last": arguments["last"] is not None}}


def files(arguments, tell):
    out = Path(arguments["out"])
    for name, content in {"sheet.html": b"<p>A sheet", "models/piece.stl": b"\0" * 600_000}.items():
        (out / name).parent.mkdir(exist_ok=True)
        (out / name).write_bytes(content)
    if arguments["text"] == "unfinished":
        raise CannotWrite(f"cannot write {out / '.part-x1' / 'sheet.html'}: the disk is full")
    listed = [{"path": name, "bytes": 1, "what": ""} for name in ("sheet.html", "models/piece.stl")]
    # What lies elsewhere is not given out even if a job lists it.
    listed += [{"path": path, "bytes": 1, "what": ""} for path in ("../../beside/a.toml", "/etc/hostname")]
    return {"files": {"list": listed, "notes": []}}


def new(arguments, tell):
    if arguments["name"] != "two-in-one":
        raise BadInput([Problem("name", repr(arguments["name"]), "two-in-one")])
    return {"text": "a starter"}
