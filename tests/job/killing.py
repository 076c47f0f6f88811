"""Run a program, kill it without warning after a while, and tell what it had acknowledged by then.

A program acknowledges by writing whole lines to its standard output, flushed, each after the work is done.
"""

from __future__ import annotations

import os
import queue
import random
import signal
import subprocess
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Killed:
    """What was left of a run: the acknowledged lines, whether it had ended by itself, and its errors."""

    acknowledged: tuple[str, ...]
    ended: bool
    stderr: str


def run_and_kill(
    command: Sequence[str | Path], after_s: float, *, from_line: int = 0,
    env: Mapping[str, str] | None = None, cwd: Path | None = None, reach_within_s: float = 120.0,
) -> Killed:  # fmt: skip
    """Start ``command``, send SIGKILL to it and all its children after ``after_s`` seconds, and wait.

    The time runs from its line of output number ``from_line``, or from its end if that came sooner; from its start for 0. So it
    falls in the midst of the work on a slow machine too. A last line without its line end was cut off and is not acknowledged.
    """
    process = subprocess.Popen(
        [str(word) for word in command],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, **(env or {})},
        cwd=cwd,
        start_new_session=True,  # a group of its own, so that its children die with it
    )
    output: queue.Queue[bytes] = queue.Queue()
    errors: list[bytes] = []
    reached = threading.Event()

    def listen() -> None:
        for line in process.stdout:
            output.put(line)
            if output.qsize() >= from_line:
                reached.set()
        reached.set()

    listeners = [
        threading.Thread(target=listen),
        threading.Thread(target=lambda: errors.append(process.stderr.read())),
    ]
    for listener in listeners:
        listener.start()
    ended = False
    try:
        if from_line:
            reached.wait(reach_within_s)
        time.sleep(after_s)
        ended = process.poll() is not None
    finally:
        if not ended:
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        for listener in listeners:
            listener.join()
    lines = [output.get() for _ in range(output.qsize())]
    whole = tuple(line.decode().rstrip("\n") for line in lines if line.endswith(b"\n"))
    return Killed(whole, ended, b"".join(errors).decode(errors="replace"))


def random_moments(count: int, longest_s: float, seed: int) -> list[float]:
    """``count`` waiting times up to ``longest_s`` [s], the same for the same seed."""
    rng = random.Random(seed)
    return [rng.uniform(0.0, longest_s) for _ in range(count)]


def run_together(commands: Sequence[Sequence[str | Path]]) -> tuple[str, ...]:
    """Run programs at the same time to their end and return all their lines; a failing one raises."""
    running = [
        subprocess.Popen([str(word) for word in command], stdout=subprocess.PIPE, text=True)
        for command in commands
    ]
    outputs = [process.communicate()[0] for process in running]
    for process in running:
        if process.returncode:
            raise subprocess.CalledProcessError(process.returncode, process.args)
    return tuple(line for output in outputs for line in output.splitlines())
