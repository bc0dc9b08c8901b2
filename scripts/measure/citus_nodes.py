"""A PostgreSQL of several nodes on this machine: Citus built from its source, one coordinator and some workers.

Nothing is installed into the system: PostgreSQL's files are copied into the directory, and Citus beside them.
"""

import contextlib
import os
import pwd
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psycopg
from benchmark_server import free_port

SERVER = "postgres"
"""Account that runs the nodes if the script runs as root, as which PostgreSQL refuses to run."""
PATIENCE = 120
_SETTINGS = """
listen_addresses = '127.0.0.1'
unix_socket_directories = ''
shared_preload_libraries = 'citus'
wal_level = logical
max_connections = 200
max_prepared_transactions = 200
shared_buffers = 128MB
log_line_prefix = '%m [%p] %d '
citus.node_conninfo = 'sslmode=disable'
citus.show_shards_for_app_name_prefixes = ''
"""
_TRUSTED = "host all all 127.0.0.1/32 trust\nhost replication all 127.0.0.1/32 trust\n"
_COMPAT = "src/include/pg_version_compat.h"
_COPIED = "static inline bool\nhave_createdb_privilege(void)"


def run(command: list[str | Path], **options: Any) -> str:
    """Run a command; returns its output, and ends the script with it if the command fails."""
    done = subprocess.run(command, capture_output=True, text=True, check=False, **options)
    if done.returncode != 0:
        sys.exit(
            f"{' '.join(map(str, command))} ended with {done.returncode}:\n{done.stdout[-2000:]}{done.stderr[-4000:]}"
        )
    return str(done.stdout).strip()


class Build:
    """Citus and a copy of PostgreSQL, in a directory of their own.

    Attributes:
        directory: of all that is made.
        pg_config: the program of the PostgreSQL to build against.
    """

    def __init__(self, directory: Path, pg_config: str, jobs: int = 1) -> None:
        self.directory, self._pg_config, self._jobs = directory, pg_config, jobs
        self.root = directory / "postgresql"

    def _place(self, option: str) -> Path:
        return Path(run([self._pg_config, f"--{option}"]))

    def program(self, name: str) -> Path:
        """A program of the copied PostgreSQL; it finds its other files relative to itself."""
        return self.root / self._place("bindir").relative_to("/") / name

    def make(self, source: Path, tag: str) -> float | None:
        """Build and install; returns the seconds that it took, None if it was there."""
        built = self.root / self._place("pkglibdir").relative_to("/") / "citus.so"
        if built.exists():
            return None
        begun = time.monotonic()
        sources = self.directory / "source"
        shutil.rmtree(sources, ignore_errors=True)
        _unpack(source, tag, sources)
        self._patch(sources)
        environment = {**os.environ, "PG_CONFIG": self._pg_config}
        run(["./configure", "--without-libcurl"], cwd=sources, env=environment)
        run(["nice", "-n", "10", "make", "-s", f"-j{self._jobs}"], cwd=sources)
        for option in ("bindir", "pkglibdir", "sharedir"):
            place = self._place(option)
            shutil.copytree(place, self.root / place.relative_to("/"), symlinks=False, dirs_exist_ok=True)
        run(["make", "-s", "install", f"DESTDIR={self.root}"], cwd=sources)
        return time.monotonic() - begun

    def _patch(self, sources: Path) -> None:
        """Remove Citus' own copy of a function that late minor versions of PostgreSQL export themselves."""
        declared = self._place("includedir-server") / "commands" / "dbcommands.h"
        compat = sources / _COMPAT
        text = compat.read_text()
        if _COPIED in text and "have_createdb_privilege" in declared.read_text():
            before, _, rest = text.partition(_COPIED)
            compat.write_text(before + rest.partition("\n}\n")[2])


def _unpack(source: Path, tag: str, sources: Path) -> None:
    """Copy the source of a version from a clone, bare or not, or from a plain directory."""
    if not (source / "HEAD").exists() and not (source / ".git").exists():
        shutil.copytree(source, sources)
        return
    sources.mkdir(parents=True)
    clone = source / ".git" if (source / ".git").exists() else source
    archive = subprocess.Popen(["git", f"--git-dir={clone}", "archive", tag], stdout=subprocess.PIPE)
    run(["tar", "-x"], cwd=sources, stdin=archive.stdout)
    if archive.wait() != 0:
        sys.exit(f"{source} has no {tag}")


@dataclass
class Node:
    """A PostgreSQL server of the cluster.

    Attributes:
        name: of its directory.
        port: on this machine.
    """

    name: str
    build: Build
    port: int = field(default_factory=free_port)
    process: subprocess.Popen[bytes] | None = None

    @property
    def _data(self) -> Path:
        return self.build.directory / "nodes" / self.name

    def make(self) -> None:
        """Make its empty data directory."""
        shutil.rmtree(self._data, ignore_errors=True)
        self._data.mkdir(parents=True)
        if os.geteuid() == 0:
            shutil.chown(self._data, SERVER, pwd.getpwnam(SERVER).pw_gid)
        options = ["-U", SERVER, "--auth=trust", "--locale=C.UTF-8", "--encoding=UTF8"]
        run([self.build.program("initdb"), "-D", self._data, *options], cwd="/", **_account())
        with (self._data / "postgresql.conf").open("a") as settings:
            settings.write(f"port = {self.port}\n{_SETTINGS}")
        (self._data / "pg_hba.conf").write_text(_TRUSTED)

    def start(self) -> None:
        """Start it, and wait until it answers."""
        (self._data / "postmaster.pid").unlink(missing_ok=True)
        with (self.build.directory / f"{self.name}.log").open("ab") as log:
            command = [str(self.build.program("postgres")), "-D", str(self._data)]
            home = {**os.environ, "HOME": str(self._data)}  # where a node looks for certificates of its own
            process: subprocess.Popen[bytes] = subprocess.Popen(
                command, stdout=log, stderr=log, cwd="/", env=home, **_account()
            )
        self.process = process
        end = time.monotonic() + PATIENCE
        while process.poll() is None and time.monotonic() < end:
            with contextlib.suppress(psycopg.OperationalError):
                self.execute("SELECT 1")
                return
            time.sleep(0.1)
        sys.exit(f"{self.name} does not start: see its log in {self.build.directory}")

    def stop(self) -> None:
        """Stop it; running statements are aborted."""
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            self.process.wait(PATIENCE)

    def kill(self) -> None:
        """Kill all of its processes at once, as a power cut does."""
        self._signal(signal.SIGKILL)
        assert self.process is not None
        self.process.wait(PATIENCE)

    def fall_silent(self) -> None:
        """Stop all of its processes: connections stay open, and nothing is answered."""
        self._signal(signal.SIGSTOP)

    def answer_again(self) -> None:
        """Continue all of its processes."""
        self._signal(signal.SIGCONT)

    def _signal(self, number: signal.Signals) -> None:
        """Signal all of its processes; the first one is stopped before, so that it starts no more of them."""
        assert self.process is not None
        os.kill(self.process.pid, signal.SIGSTOP)
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text().split()
        for pid in (self.process.pid, *map(int, children)):
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, number)

    def url(self, database: str = SERVER) -> str:
        """The address of a database, for psycopg."""
        return f"postgresql://{SERVER}@127.0.0.1:{self.port}/{database}"

    def execute(self, statement: str, database: str = SERVER) -> list[Any]:
        """Execute a statement in a transaction of its own; returns its rows."""
        with psycopg.connect(self.url(database), autocommit=True) as connection:
            cursor = connection.execute(statement)
            return cursor.fetchall() if cursor.description else []


def _account() -> dict[str, Any]:
    return {"user": SERVER, "group": pwd.getpwnam(SERVER).pw_gid, "extra_groups": []} if os.geteuid() == 0 else {}


class Cluster:
    """A coordinator and its workers."""

    def __init__(self, build: Build, workers: int = 2) -> None:
        self.coordinator = Node("coordinator", build)
        self.workers = [Node(f"worker-{number}", build) for number in range(1, workers + 1)]

    @property
    def nodes(self) -> list[Node]:
        """All of its servers."""
        return [self.coordinator, *self.workers]

    def __enter__(self) -> "Cluster":
        """Make and start all nodes."""
        for node in self.nodes:
            node.make()
            node.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop all nodes."""
        for node in self.nodes:
            with contextlib.suppress(ProcessLookupError, FileNotFoundError):
                node.answer_again()
            node.stop()

    def make_database(self, name: str, *, has_nodes: bool = True) -> str:
        """An empty database of this name on all nodes; returns the service's URL of it."""
        for node in self.nodes:
            node.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
            node.execute(f"CREATE DATABASE {name} TEMPLATE template0 LOCALE_PROVIDER icu ICU_LOCALE 'en-US'")
        if has_nodes:
            self.add_nodes(name)
        return self.coordinator.url(name).replace("postgresql:", "postgresql+psycopg:")

    def add_nodes(self, name: str) -> None:
        """Make the extension in the database of this name on all nodes, and the workers known to the coordinator."""
        for node in self.nodes:
            node.execute("CREATE EXTENSION citus", name)
        self.coordinator.execute(f"SELECT citus_set_coordinator_host('127.0.0.1', {self.coordinator.port})", name)
        for worker in self.workers:
            self.coordinator.execute(f"SELECT citus_add_node('127.0.0.1', {worker.port})", name)

    def home_of(self, workshop: str, database: str) -> Node:
        """The node that holds a workshop."""
        found = self.coordinator.execute(
            "SELECT nodeport FROM pg_dist_placement JOIN pg_dist_node USING (groupid) WHERE shardid ="
            f" get_shard_id_for_distribution_column('workshops', '{workshop}'::uuid)",
            database,
        )
        return next(node for node in self.nodes if node.port == found[0][0])
