"""Asks the geometry kernel for the bodies that cannot be computed directly, with a time limit for each."""

import atexit
import json
import os
import subprocess
import sys
import threading
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from time import monotonic
from typing import IO, Final, NamedTuple

import numpy as np

from checker.model import Floats, Ints

SECONDS_PER_BODY: Final = 20.0
"""A heavy boolean takes a tenth of a second; single bodies that never end exist..."""
SECONDS_AT_LEAST: Final = 2.0
"""... and files with many: each that does not end halves the time for the next, down to this."""
SECONDS_TO_OPEN: Final = 600.0
MOST_FAILURES: Final = 10
"""So many crashes or hangs end the work: a file made to stop us must not take hours."""
BODIES_PER_PROCESS: Final = 100
"""A further process pays from about so many bodies on."""

_WORKER: Final = Path(__file__).with_name("kernel_worker.py")


class Job(NamedTuple):
    """An item (or a product whose openings are cut from ``representation``) of the STEP text at ``path``, by number."""

    path: str
    entity: int
    representation: int = 0


Body = tuple[Floats, Ints]
"""Points (p, 3) in metres in the body's own frame, triangles (t, 3)."""


class Patience:
    """How long one body may take, and how many may fail, over a whole run: all that never end share 50 seconds."""

    def __init__(self, seconds: float = SECONDS_PER_BODY) -> None:
        self.seconds = seconds
        self._failures = 0
        self._lock = threading.Lock()

    def failed(self, hung: bool) -> None:
        """Notes a body that ended its process; ``hung`` says whether it was waited for in vain."""
        with self._lock:
            self._failures += 1
            if hung:
                self.seconds = max(0.5 * self.seconds, min(self.seconds, SECONDS_AT_LEAST))

    @property
    def over(self) -> bool:
        """Whether so many have failed that no more are asked for."""
        return self._failures >= MOST_FAILURES


def tessellated(jobs: Sequence[Job], patience: Patience | None = None) -> list[Body | str]:
    """The bodies of all jobs in their order; a text says why there is none. ``patience`` is that of the run."""
    if not jobs:
        return []
    patience = patience or Patience()
    processes = min(os.cpu_count() or 1, 1 + len(jobs) // BODIES_PER_PROCESS)
    shares = [sorted(range(i, len(jobs), processes), key=lambda j: jobs[j].path) for i in range(processes)]
    out: list[Body | str] = [""] * len(jobs)
    stop = threading.Event()
    with ThreadPoolExecutor(processes) as pool:
        answers = pool.map(lambda share: _share([jobs[j] for j in share], patience, stop), shares)
        try:
            for share, bodies in zip(shares, answers, strict=True):
                for j, body in zip(share, bodies, strict=True):
                    out[j] = body
        finally:
            stop.set()  # someone who interrupts us must not wait for the kernel
    return out


def _share(jobs: Sequence[Job], patience: Patience, stop: threading.Event) -> list[Body | str]:
    out: list[Body | str] = []
    while len(out) < len(jobs) and not stop.is_set():
        if patience.over:
            return out + [f"the geometry kernel failed {MOST_FAILURES} times before"] * (len(jobs) - len(out))
        out += _ask_one_process(jobs[len(out) :], patience, stop)
    return out


def _ask_one_process(jobs: Sequence[Job], patience: Patience, stop: threading.Event) -> list[Body | str]:
    """Answers up to and including the first that ends the process; none where a kept one had ended meanwhile."""
    out: list[Body | str] = []
    seconds = SECONDS_TO_OPEN
    # A kept process stands in the folder in which it was started.
    asked = [job._replace(path=os.path.abspath(job.path)) for job in jobs]
    process, kept = _process()
    heard = done = False
    assert process.stdin is not None
    assert process.stdout is not None
    try:
        with _Watch(process, stop) as watch:
            with suppress(OSError):  # it died at once; reading will tell
                process.stdin.write(json.dumps({"jobs": asked}).encode() + b"\n")
                process.stdin.flush()
            while True:
                head = process.stdout.readline()
                message = json.loads(head) if head.endswith(b"\n") else None
                if message and "opening" in message:
                    heard, seconds = True, patience.seconds
                    watch.expect_within(SECONDS_TO_OPEN if message["opening"] else seconds)
                    continue
                if len(out) == len(jobs):
                    done = bool(message)
                    break
                body = _received(message, process.stdout)
                if body is None:
                    if kept and not heard and not watch.fired:
                        break
                    out.append(
                        f"the geometry kernel did not finish it within {seconds:g} s"
                        if watch.fired
                        else "the geometry kernel crashed on it"
                    )
                    patience.failed(hung=watch.fired)
                    break
                seconds = patience.seconds
                watch.expect_within(seconds)
                out.append(body)
    finally:
        if done:
            _idle.append((_WORKER, process))
        else:
            _end(process)
    return out


_idle: Final[list[tuple[Path, "subprocess.Popen[bytes]"]]] = []
"""Processes that wait for more to do: to start one takes half a second, and a run asks twice."""


def _process() -> tuple["subprocess.Popen[bytes]", bool]:
    """A process to ask, and whether it is one that was kept."""
    while True:
        try:
            script, process = _idle.pop()
        except IndexError:
            break
        if script == _WORKER and process.poll() is None:
            return process, True
        _end(process)
    # -P: a file of our folder, or of the folder the user stands in, must never pass for a library.
    command = [sys.executable, "-P", str(_WORKER)]
    pipe = subprocess.PIPE
    return subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=subprocess.DEVNULL), False


def _end(process: "subprocess.Popen[bytes]") -> None:
    process.kill()
    for stream in (process.stdin, process.stdout):
        with suppress(OSError):
            if stream is not None:
                stream.close()
    process.wait()


@atexit.register
def _end_all() -> None:
    while _idle:
        _end(_idle.pop()[1])


def _received(message: dict[str, int | str] | None, stream: IO[bytes]) -> Body | str | None:
    if message is None:
        return None
    if "fault" in message:
        return f"the geometry kernel cannot build its shape ({message['fault']})"
    points, triangles = int(message["points"]) * 24, int(message["triangles"]) * 12
    data = stream.read(points + triangles)
    if len(data) < points + triangles:
        return None
    return (
        np.frombuffer(data[:points], dtype=np.float64).reshape(-1, 3),
        np.frombuffer(data[points:], dtype=np.int32).reshape(-1, 3).astype(np.int64),
    )


class _Watch:
    """Kills a process that stays silent for too long."""

    def __init__(self, process: subprocess.Popen[bytes], stop: threading.Event) -> None:
        self.fired = False
        self._stop = stop
        self._process = process
        self._deadline = monotonic() + SECONDS_TO_OPEN
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)

    def expect_within(self, seconds: float) -> None:
        self._deadline = monotonic() + seconds

    def _watch(self) -> None:
        while not self._over.wait(0.25):
            self.fired = monotonic() > self._deadline
            if self.fired or self._stop.is_set():
                self._process.kill()
                return

    def __enter__(self) -> "_Watch":
        self._thread.start()
        return self

    def __exit__(self, *exception: object) -> None:
        self._over.set()
        self._thread.join()
