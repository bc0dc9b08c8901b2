"""What an attack must not disturb: another workshop's work, the answers of /health and /ready, and memory."""

import contextlib
import http.client
import json
import random
import re
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from attack_ground import DAY
from largest import money

PER_SECOND = 10
"""Most requests of each of the other workshop's threads."""
LOOKS_PER_SECOND = 5
WELL = (200, 201, 304)
PATIENCE = 60
_LIMITS = {"memory.limit_in_bytes": "memory.oom_control", "memory.max": "memory.events"}
"""Where cgroups, version 1 and 2, have the limit and the number of processes killed for it."""


@dataclass(slots=True)
class Watched:
    """What the other workshop and the look-out saw.

    Attributes:
        work: seconds of each of the workshop's requests.
        failed: those without a good answer: kind, status and seconds.
        looks: the same by path, for what was asked on new connections.
    """

    work: list[float] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    looks: dict[str, list[float]] = field(default_factory=lambda: {"/health": [], "/ready": []})

    def longest(self, path: str) -> float:
        """Seconds of the slowest answer there."""
        return max(self.looks[path], default=0)


def working(watched: Watched, port: int, key: str, number: int, end: float) -> None:
    """Read and write plainly over one connection, as a shop's program does."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE)
    chance = random.Random(number)
    headers = {"Authorization": f"Bearer {key}", "Content-Type": "application/json"}
    while time.monotonic() < end:
        method, path, body = some_request(chance)
        watched.work.append(
            timed(watched, method + " " + path, lambda: said(connection, method, path, body, headers))  # noqa: B023
        )
        time.sleep(max(0, 1 / PER_SECOND - watched.work[-1]))
    connection.close()


def some_request(chance: random.Random) -> tuple[str, str, str | None]:
    """A plain read or write."""
    price = {"price": money(f"0.{chance.randrange(100, 999)}")}
    return chance.choice(
        [
            ("GET", "/v1/taxes/standard", None),
            ("GET", "/v1/products/small-0", None),
            ("GET", f"/v1/products/small-0/cost-sheet?quantity={chance.randrange(1, 5000)}", None),
            ("PUT", "/v1/taxes/standard", json.dumps({"name": f"VAT {chance.randrange(1000)}"})),
            ("PUT", f"/v1/materials/flakes/rates/{DAY}", json.dumps(price)),
        ]
    )


def said(
    connection: http.client.HTTPConnection, method: str, path: str, body: str | None, headers: dict[str, str]
) -> tuple[int, bytes]:
    """Status and body of the answer."""
    try:
        connection.request(method, path, body, headers)
        answer = connection.getresponse()
        return answer.status, answer.read()
    except (OSError, http.client.HTTPException) as error:
        connection.close()  # it is opened again by the next request
        return 0, repr(error).encode()


def timed(watched: Watched, what: str, ask: Callable[[], tuple[int, bytes]]) -> float:
    """Seconds of a request; a failure is noted."""
    begun = time.monotonic()
    status, told = ask()
    seconds = time.monotonic() - begun
    if status not in WELL:
        watched.failed.append(f"{what}: {status or 'no answer'} after {seconds:.2f} s: {told[:200].decode()}")
    return seconds


def looking(watched: Watched, path: str, port: int, end: float) -> None:
    """Ask whether the service is well, on a new connection each time."""
    while time.monotonic() < end:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE)
        with contextlib.closing(connection):
            seconds = timed(watched, path, lambda: said(connection, "GET", path, None, {}))  # noqa: B023
        watched.looks[path].append(seconds)
        time.sleep(max(0, 1 / LOOKS_PER_SECOND - seconds))


def watch(port: int, key: str, seconds: float) -> Watched:
    """Work and look, in a process of its own, so that attackers do not slow down the clock."""
    end, watched = time.monotonic() + seconds, Watched()
    threads = [threading.Thread(target=working, args=(watched, port, key, number, end)) for number in range(2)]
    threads += [threading.Thread(target=looking, args=(watched, path, port, end)) for path in watched.looks]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return watched


@dataclass(slots=True)
class Memory:
    """Greatest memory of all processes of a service together, in bytes.

    Attributes:
        pid: id of the supervisor.
        pss: what is shared is counted once, in shares.
        rss: what is shared is counted for each process.
        seen: the ids of all processes that there were.
    """

    pid: int
    pss: int = 0
    rss: int = 0
    seen: set[int] = field(default_factory=set)

    def look(self) -> None:
        """Take a sample (/proc/PID/smaps_rollup)."""
        children = ""
        with contextlib.suppress(OSError):
            children = Path(f"/proc/{self.pid}/task/{self.pid}/children").read_text()
        pids = [self.pid, *map(int, children.split())]
        self.seen.update(pids)
        found = [memory_of(pid) for pid in pids]
        self.pss, self.rss = max(self.pss, sum(pss for pss, _ in found)), max(self.rss, sum(rss for _, rss in found))


def memory_of(pid: int) -> tuple[int, int]:
    """Proportional and resident bytes of a process; 0 if it has ended."""
    try:
        told = Path(f"/proc/{pid}/smaps_rollup").read_text()
    except OSError:
        return 0, 0
    kilobytes = dict(re.findall(r"^(Pss|Rss): +([0-9]+) kB$", told, re.MULTILINE))
    return int(kilobytes.get("Pss", 0)) * 1024, int(kilobytes.get("Rss", 0)) * 1024


@contextlib.contextmanager
def limited(most_bytes: int) -> Iterator[tuple[list[str], Callable[[], int]]]:
    """What to put before a command so that it and its children get no more memory together (cgroups 1 or 2).

    Yields that, and how many processes were killed for it; nothing and 0 where this user may not set a limit.
    """
    found = _limited_group(most_bytes)
    if found is None:
        yield [], lambda: 0
        return
    group, events = found
    try:
        yield ["sh", "-c", f'echo $$ > {group}/cgroup.procs && exec "$@"', "sh"], lambda: killed(events)
    finally:
        group.rmdir()


def _limited_group(most_bytes: int) -> tuple[Path, Path] | None:
    """A new cgroup with this limit, and its file of events; None if this user may not make one."""
    for root in (Path("/sys/fs/cgroup/memory"), Path("/sys/fs/cgroup")):
        group = root / f"pugmill-attack-{time.monotonic_ns()}"
        with contextlib.suppress(OSError):
            group.mkdir()
            for limit, events in _LIMITS.items():
                if (group / limit).exists():
                    (group / limit).write_text(str(most_bytes))
                    return group, group / events
            group.rmdir()
    return None


def killed(events: Path) -> int:
    """The number of processes that a cgroup's limit has killed."""
    found = re.search(r"^oom_kill ([0-9]+)$", events.read_text(), re.MULTILINE)
    return int(found[1]) if found else 0
