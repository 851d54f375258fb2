"""The workers: lines as they come, stopping, dying, and ending with their server."""

import asyncio
import json
import multiprocessing
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from chaingen.page import job as job_module
from chaingen.page import keeper as keeper_module
from chaingen.page import workers as workers_module
from chaingen.page.workers import CANCELLED, ENDING, REPLACED, Workers
from tests.page_serving import wait_until

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def workers():
    made = Workers("tests.page_jobs")
    made.start()
    yield made
    made.close()
    assert not any(thread.is_alive() for queue in (made.quick, made.heavy) for thread in queue.threads)


async def told(job):
    return [json.loads(line) async for line in job.lines()]


def ask(workers, text, *, owner=None, limit=60.0, quick=False):
    make = workers.do_quickly if quick else workers.do
    return make("look", {"text": text, "quick": quick, "last": None}, owner=owner, limit=limit)


def all_of(workers, text, **options):
    async def run():
        job = ask(workers, text, **options)
        return await told(job), job

    return asyncio.run(run())


async def begun(path):
    for _ in range(6_000):
        if Path(f"{path}.begun").exists():
            return
        await asyncio.sleep(0.01)
    raise AssertionError("the job did not begin")


# --- what is told -----------------------------------------------------------------------------------


def test_lines_come_in_order_and_the_last_one_ends_them(workers):
    lines, job = all_of(workers, "progress")
    assert [line["progress"] for line in lines[:-1] if line["progress"].startswith("step")] == [
        "step 1", "step 2", "step 3",
    ]  # fmt: skip
    seconds = [line["seconds"] for line in lines[:-1]]
    assert seconds == sorted(seconds)
    assert lines[-1]["text"] == job.text == "progress"


def test_what_is_kept_is_not_sent(workers):
    lines, job = all_of(workers, "plain")
    assert "_keep" not in lines[-1]
    assert job.kept is not None
    assert b"plain" in job.kept


def test_newer_poses_stand_for_older_ones_but_the_piece_is_never_left_out(workers):
    async def run():
        job = ask(workers, "poses 400")
        await job.last  # nobody takes the lines meanwhile
        return await told(job)

    lines = asyncio.run(run())
    assert "piece" in lines[0] or "piece" in lines[1]
    poses = [int(line["poses"]) for line in lines if "poses" in line]
    assert len(poses) <= job_module.MOST_PENDING
    assert poses == sorted(poses)
    assert poses[-1] == 399


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("broken", "a fault in chaingen itself (RuntimeError: something is wrong)"),
        ("endless", "a fault in chaingen itself (RecursionError: )"),
        ("full", "the disk is full"),
        ("exit 3", "exit code 3"),
        ("signal SIGSEGV", f"signal {signal.SIGSEGV.value}"),
        ("signal SIGKILL", "memory ran out"),
        ("nan", "a fault in chaingen itself (ValueError"),
    ],
)
def test_a_fault_is_that_of_one_job_only(workers, tmp_path, text, words):
    async def run():
        other = ask(workers, f"wait {tmp_path / 'gate'}", owner="other")
        await begun(tmp_path / "gate")
        failed = await told(ask(workers, text, owner="one"))
        after = await told(ask(workers, "after", owner="one"))
        (tmp_path / "gate").touch()
        return failed, after, await told(other)

    failed, after, other = asyncio.run(run())
    assert words in failed[-1]["fault"]
    assert after[-1]["text"] == "after"
    assert "look" in other[-1]


def test_bad_input_is_told_with_its_line(workers):
    text = "bad = 1\n[rings.link]\ninside = '4 mm'\nwire = 'thick'\n"
    lines, _ = all_of(workers, text)
    assert lines[-1] == {
        "problems": [
            {"where": "rings.link.wire", "got": "'thick'", "expected": "a wire", "advice": "", "line": 4}
        ]
    }


def test_an_answer_beyond_all_measure_is_a_fault(workers, monkeypatch):
    monkeypatch.setattr(keeper_module, "MOST_BYTES", 100_000)
    lines, _ = all_of(workers, "large 200000")
    assert lines[-1] == {"fault": "its answer is too large"}
    lines, _ = all_of(workers, "large 1000")
    assert "look" in lines[-1]


# --- stopping ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("manner", ["wait", "stubborn"])
def test_a_newer_job_replaces_that_of_its_owner_and_no_other(workers, tmp_path, manner):
    async def run():
        old = ask(workers, f"{manner} {tmp_path / 'old'}", owner="one")
        await begun(tmp_path / "old")
        other = ask(workers, f"wait {tmp_path / 'gate'}", owner="other")
        new = ask(workers, "new", owner="one")
        stopped = await told(old)
        done = await told(new)
        await begun(tmp_path / "gate")
        assert not other.last.done()
        (tmp_path / "gate").touch()
        return stopped, done, await told(other)

    stopped, done, other = asyncio.run(run())
    assert stopped[-1] == {"stopped": REPLACED}
    assert done[-1]["text"] == "new"
    assert "look" in other[-1]


def test_one_that_listens_is_stopped_without_its_process_being_killed(workers, tmp_path):
    def processes():
        return {child.pid for child in multiprocessing.active_children()}

    async def run():
        await told(ask(workers, "ready", owner="one"))
        before = processes()
        job = ask(workers, f"wait {tmp_path / 'never'}", owner="one")
        await begun(tmp_path / "never")
        workers.stop("one")
        lines = await told(job)
        # Both workers have to take one of these; the one that was stopped too.
        gates = [tmp_path / "a", tmp_path / "b"]
        jobs = [ask(workers, f"wait {gate}") for gate in gates]
        for gate in gates:
            await begun(gate)
        for gate in gates:
            gate.touch()
        for later in jobs:
            await told(later)
        return lines, before, processes()

    wait_until(lambda: len(processes()) == 3)
    lines, before, after = asyncio.run(run())
    assert lines[-1] == {"stopped": CANCELLED}
    assert before == after


def test_one_that_waits_is_stopped_at_once(workers, tmp_path):
    async def run():
        gates = [tmp_path / "a", tmp_path / "b"]
        busy = [ask(workers, f"wait {gate}") for gate in gates]
        for gate in gates:
            await begun(gate)
        waiting = ask(workers, "waiting", owner="one")
        lines = waiting.lines()
        first = json.loads(await anext(lines))
        workers.stop("one")
        last = [json.loads(line) async for line in lines][-1]
        for gate in gates:
            gate.touch()
        for job in busy:
            await told(job)
        return first, last

    first, last = asyncio.run(run())
    assert first["progress"] == "waiting for its turn"
    assert last == {"stopped": CANCELLED}


def test_a_newer_quick_one_replaces_the_one_that_waits_not_the_one_begun(workers, tmp_path):
    async def run():
        one = ask(workers, f"wait {tmp_path / 'gate'}", owner="one", quick=True)
        await begun(tmp_path / "gate")
        two, three = (ask(workers, text, owner="one", quick=True) for text in ("two", "three"))
        lines = await told(two)
        (tmp_path / "gate").touch()
        return await told(one), lines, await told(three)

    one, two, three = asyncio.run(run())
    assert "look" in one[-1]
    assert two == [{"stopped": REPLACED}]
    assert three[-1]["text"] == "three"


def test_quick_ones_do_not_wait_for_those_that_take_long(workers, tmp_path):
    async def run():
        gates = [tmp_path / "a", tmp_path / "b"]
        busy = [ask(workers, f"stubborn {gate}", owner=gate.name) for gate in gates]
        for gate in gates:
            await begun(gate)
        quick = await told(ask(workers, "quick", owner="a", quick=True))
        still = [job.last.done() for job in busy]
        for gate in gates:
            gate.touch()
        for job in busy:
            await told(job)
        return quick, still

    quick, still = asyncio.run(run())
    assert quick[-1]["text"] == "quick"
    assert still == [False, False]


@pytest.mark.parametrize("manner", ["wait", "stubborn"])
def test_one_that_takes_too_long_is_stopped(workers, tmp_path, manner):
    lines, _ = all_of(workers, f"{manner} {tmp_path / 'never'}", limit=0.3)
    assert lines[-1]["stopped"].startswith("it took longer than")
    assert "command line" in lines[-1]["stopped"]
    assert all_of(workers, "after")[0][-1]["text"] == "after"


def test_long_silence_is_broken_by_words_that_it_goes_on(workers, tmp_path, monkeypatch):
    monkeypatch.setattr(job_module, "BEAT", 0.05)

    async def run():
        job = ask(workers, f"stubborn {tmp_path / 'gate'}")
        lines = []
        async for line in job.lines():
            lines.append(json.loads(line))
            if len(lines) == 4:
                (tmp_path / "gate").touch()
        return lines

    lines = asyncio.run(run())
    assert all(line["seconds"] >= 0.0 for line in lines[:-1])
    assert "look" in lines[-1]


# --- beginnings and ends ----------------------------------------------------------------------------


def test_workers_that_cannot_start_say_so(monkeypatch):
    monkeypatch.setattr(keeper_module, "PAUSE", 0.01)
    made = Workers("tests.page_unwarmed", heavy=1)
    made.start()
    try:
        lines, _ = all_of(made, "anything")
    finally:
        made.close()
    assert "no worker could start" in lines[-1]["fault"]


@pytest.mark.skipif(sys.platform == "win32", reason="no such signal there")
def test_a_worker_that_hangs_is_ended_though_it_takes_nothing(monkeypatch):
    monkeypatch.setattr(keeper_module, "STUCK", 0.3)
    made = Workers("tests.page_jobs", heavy=1)
    made.start()

    async def run():
        pid = (await told(ask(made, "who", quick=True)))[-1]["look"]["pid"]
        os.kill(pid, signal.SIGSTOP)
        # More than a pipe holds: to send it waits for the worker.
        large = {"text": "who", "last": bytes(5_000_000)}
        job = made.do_quickly("look", large, owner=None, limit=60.0)
        return (await told(job))[-1], (await told(ask(made, "who", quick=True)))[-1]["look"]["pid"], pid

    try:
        last, after, before = asyncio.run(run())
    finally:
        made.close()
    assert last == {"fault": "the work answered no more and was ended"}
    assert after != before


@pytest.mark.skipif(sys.platform == "win32", reason="no such signal there")
@pytest.mark.parametrize("size", [0, 5_000_000])
def test_one_that_hangs_does_not_keep_the_server_from_its_end(monkeypatch, size):
    monkeypatch.setattr(workers_module, "CLOSE_LIMIT", 0.3)
    made = Workers("tests.page_jobs", heavy=1)
    made.start()

    async def run():
        pid = (await told(ask(made, "who", quick=True)))[-1]["look"]["pid"]
        os.kill(pid, signal.SIGSTOP)
        given = {"text": "who", "last": bytes(size)}
        made.do_quickly("look", given, owner=None, limit=60.0)
        await asyncio.to_thread(wait_until, lambda: made.quick.begun)
        await asyncio.to_thread(made.close)
        return pid

    pid = asyncio.run(run())
    wait_until(lambda: not is_running(pid))
    assert not any(thread.is_alive() for thread in made.quick.threads)


def test_where_no_process_can_be_started_jobs_are_told(monkeypatch):
    def started(_):
        raise OSError(12, "Cannot allocate memory")

    monkeypatch.setattr(keeper_module, "PAUSE", 0.01)
    monkeypatch.setattr(keeper_module.Keeper, "_started", started)
    made = Workers("tests.page_jobs", heavy=1)
    made.start()
    try:
        lines, _ = all_of(made, "anything")
    finally:
        made.close()
    assert lines[-1] == {"fault": "no worker could start: Cannot allocate memory"}


def test_closing_stops_all_jobs_and_ends_all_processes(tmp_path):
    made = Workers("tests.page_jobs")
    made.start()

    async def run():
        job = ask(made, f"stubborn {tmp_path / 'never'}")
        await begun(tmp_path / "never")
        before = set(multiprocessing.active_children())
        await asyncio.to_thread(made.close)
        late = ask(made, "late")
        return await told(job), await told(late), before

    lines, late, before = asyncio.run(run())
    assert lines[-1] == late[-1] == {"stopped": ENDING}
    ended = before - set(multiprocessing.active_children())
    assert len(ended) >= 1


def test_a_worker_that_dies_idle_is_replaced(workers):
    async def pid():
        return (await told(ask(workers, "who", quick=True)))[-1]["look"]["pid"]

    first = asyncio.run(pid())
    os.kill(first, signal.SIGINT)  # Ctrl-C in the terminal is the server's matter
    assert asyncio.run(pid()) == first
    os.kill(first, signal.SIGKILL)
    wait_until(lambda: first not in {child.pid for child in multiprocessing.active_children()})
    assert asyncio.run(pid()) != first


@pytest.mark.skipif(sys.platform == "win32", reason="no such signal there")
@pytest.mark.parametrize("manner", ["idle", "stubborn"])
def test_workers_end_with_their_server_however_it_ends(tmp_path, manner):
    script = f"""
import asyncio, multiprocessing, os
from chaingen.page.workers import Workers
async def run():
    workers = Workers("tests.page_jobs")
    workers.start()
    heavy = workers.do("look", {{"text": "who"}}, owner=None, limit=60.0)
    quick = workers.do_quickly("look", {{"text": "who"}}, owner=None, limit=60.0)
    await heavy.last
    await quick.last
    if {manner!r} == "stubborn":
        workers.do("look", {{"text": {f"stubborn {tmp_path / 'never'}"!r}}}, owner=None, limit=600.0)
    while {manner!r} == "stubborn" and not os.path.exists({str(tmp_path / "never.begun")!r}):
        await asyncio.sleep(0.01)
    print(*(child.pid for child in multiprocessing.active_children()), flush=True)
    await asyncio.sleep(600)
if __name__ == "__main__":
    asyncio.run(run())
"""
    (tmp_path / "server.py").write_text(script)
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        [sys.executable, str(tmp_path / "server.py")], stdout=subprocess.PIPE, env=environment, cwd=ROOT
    ) as server:
        children = [int(number) for number in server.stdout.readline().split()]
        assert len(children) == 3
        assert all(is_running(child) for child in children)
        server.kill()
        server.wait()
    wait_until(lambda: not any(is_running(child) for child in children))


def is_running(process):
    """Whether there is a process of a number; one that ended and is not taken leave of counts as none."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{process}/stat")
    try:
        return not state.exists() or state.read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def test_all_jobs_of_an_owner_can_be_dropped(workers, tmp_path):
    async def run():
        heavy = ask(workers, f"wait {tmp_path / 'a'}", owner="one")
        quick = ask(workers, f"wait {tmp_path / 'b'}", owner="one", quick=True)
        await begun(tmp_path / "a")
        await begun(tmp_path / "b")
        workers.drop("one")
        return await told(heavy), await told(quick)

    for lines in asyncio.run(run()):
        assert lines[-1] == {"stopped": CANCELLED}
    assert threading.active_count() < 40
