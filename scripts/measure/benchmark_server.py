"""Servers that a benchmark starts on this machine and stops again."""

import contextlib
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO

import requests

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
TO_STOP = 70
"""Seconds that the service may take to stop: it answers what it is still asked."""
_TICKS = os.sysconf("SC_CLK_TCK")


def free_port() -> int:
    """A free port."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextlib.contextmanager
def running(
    command: list[str],
    port: int,
    path: str,
    environment: dict[str, str],
    errors: IO[bytes] | None = None,
    patience: float = 20,
) -> Iterator[tuple[int, float]]:
    """Run a server, with its log in a file if one is given.

    Yields its process id and the seconds of processor time to its first answer.
    """
    begun = time.perf_counter()
    process = subprocess.Popen(
        command,
        env={**os.environ, "PUGMILL_RATE_LIMIT": "off", **environment},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL if errors is None else errors,
        cwd=HERE,
    )
    try:
        while True:
            with contextlib.suppress(requests.RequestException):
                if requests.get(f"http://127.0.0.1:{port}{path}", timeout=5).status_code == 200:
                    break
            if time.perf_counter() - begun > patience or process.poll() is not None:
                sys.exit(f"{command[0]} does not answer")
            time.sleep(0.01)
        yield process.pid, processor_seconds(process.pid)
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(max(patience, TO_STOP))


def figures_of(pid: int) -> Iterator[list[str]]:
    """The fields of /proc/…/stat after the name, of a process and its descendants."""
    found: dict[int, list[str]] = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            found[int(stat.parent.name)] = stat.read_text().rpartition(")")[2].split()
    family = [pid] if pid in found else []
    for each in family:  # grows while it is read
        family += [child for child, fields in found.items() if int(fields[1]) == each]
        yield found[each]


def processor_seconds(pid: int) -> float:
    """Processor time of a process and its descendants, those that have ended too: utime, stime, cutime, cstime."""
    return sum(sum(map(int, fields[11:15])) / _TICKS for fields in figures_of(pid))


def pugmill(arguments: list[str], environment: dict[str, str]) -> str:
    """Run pugmill; returns its output."""
    command = [sys.executable, "-m", "service.cli", *arguments]
    return subprocess.run(
        command, env={**os.environ, **environment}, check=True, capture_output=True, text=True, cwd=ROOT
    ).stdout.strip()
