"""A PostgreSQL server for tests: the one that TEST_DB_URL names, or one of its own, found where the system keeps it."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from contextlib import contextmanager
from pathlib import Path

MISSING = (
    "PostgreSQL is missing: half of the store's tests need it. Install it (Debian: apt-get install postgresql), "
    "or set TEST_DB_URL to postgresql+psycopg://user@host/database of a server that may be filled and emptied."
)


def _binaries() -> Path:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: float(p.parts[-3]))
    named = shutil.which("initdb")
    if not found and named is None:
        raise RuntimeError(MISSING)
    return found[-1].parent if found else Path(named).resolve().parent


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@contextmanager
def server_url():
    """Give the address of a server; one of our own is thrown away afterwards."""
    if os.environ.get("TEST_DB_URL"):
        yield os.environ["TEST_DB_URL"]
        return
    binaries, root = _binaries(), Path(tempfile.mkdtemp(prefix="pgtest."))
    as_root = os.geteuid() == 0
    owner = ["runuser", "-u", "postgres", "--"] if as_root else []  # initdb refuses to run as root
    root.chmod(0o755)
    for folder in ("data", "sock"):
        (root / folder).mkdir()
        if as_root:
            shutil.chown(root / folder, "postgres", "postgres")

    def run(program, *words):
        done = subprocess.run(
            [*owner, binaries / program, *words], capture_output=True, text=True, check=False, cwd=root
        )
        assert done.returncode == 0, f"{program}: {done.stdout}{done.stderr}"

    port = _free_port()
    options = f"-p {port} -k {root / 'sock'} -c listen_addresses=127.0.0.1 -c fsync=off"
    try:
        run("initdb", "-D", root / "data", "-A", "trust", "-U", "postgres", "-E", "UTF8", "--locale=C", "--no-sync")
        log = root / "data" / "log"
        start = [*owner, binaries / "pg_ctl", "-D", root / "data", "-w", "-t", "60", "-l", log, "-o", options, "start"]
        # the server keeps what it is given as output, so a pipe would never close
        subprocess.run(start, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=True, cwd=root)
        yield f"postgresql+psycopg://postgres@127.0.0.1:{port}/postgres"
    finally:
        if (root / "data" / "postmaster.pid").exists():
            run("pg_ctl", "-D", root / "data", "-m", "immediate", "stop")
        shutil.rmtree(root, ignore_errors=True)
