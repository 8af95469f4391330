"""A private PostgreSQL server of the tests: data and socket in a temporary folder that is removed afterwards."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import subprocess
import tempfile
import uuid
from pathlib import Path
from urllib.parse import quote

import psycopg

TOOL = Path(__file__).parents[1] / "tools" / "ensure-postgres"
ROLE = "edgewind"


def programs() -> Path:
    """Folder of initdb and pg_ctl; Debian's package is installed first where that can be done."""
    found = _programs()
    if found is None:
        subprocess.run(["sh", str(TOOL)], check=True)
        found = _programs()
    assert found is not None
    return found


def _programs() -> Path | None:
    versions = Path("/usr/lib/postgresql").glob("*/bin/initdb")
    newest = sorted(versions, key=lambda path: int(path.parts[-3]) if path.parts[-3].isdecimal() else 0)
    if newest:
        return newest[-1].parent
    found = shutil.which("initdb")
    return Path(found).resolve().parent if found else None


class Server:
    """Started when made; `stop` it."""

    def __init__(self) -> None:
        self._bin = programs()
        # a socket's path may have 107 characters at most, so no deep folder
        self.place = Path(tempfile.mkdtemp(prefix="edgewind-pg-", dir="/tmp"))
        self._as: dict[str, object] = {}
        if os.geteuid() == 0:
            names = {entry.pw_name for entry in pwd.getpwall()}
            user = "postgres" if "postgres" in names else "nobody"
            entry = pwd.getpwnam(user)
            os.chown(self.place, entry.pw_uid, entry.pw_gid)
            self._as = {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}
        options = ["-D", "data", "-U", ROLE, "-A", "trust", "-E", "UTF8", "--no-locale", "--no-sync"]
        self._call("initdb", *options)
        self.start()

    def start(self) -> None:
        settings = f"-k {self.place} -c listen_addresses= -c max_connections=40 -c shared_buffers=16MB"
        self._call("pg_ctl", "-D", "data", "-w", "-t", "400", "-l", "log", "-o", settings, "start")

    def stop(self, mode: str = "fast") -> None:
        """Stop it: fast, or as if the plug were pulled with immediate."""
        self._call("pg_ctl", "-D", "data", "-w", "-t", "400", "-m", mode, "stop")

    def remove(self) -> None:
        with contextlib.suppress(subprocess.CalledProcessError):  # it may have stopped already
            self.stop("immediate")
        shutil.rmtree(self.place, ignore_errors=True)

    def _call(self, name: str, *arguments: str) -> None:
        environment = {"PATH": "/usr/bin:/bin", "LC_ALL": "C", "HOME": str(self.place)}
        command = [str(self._bin / name), *arguments]
        done = subprocess.run(
            command, cwd=self.place, env=environment, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, text=True, timeout=480, **self._as,
        ) if name != "pg_ctl" else self._quietly(command, environment)  # fmt: skip
        if done.returncode:
            raise subprocess.CalledProcessError(done.returncode, command, done.stdout)

    def _quietly(self, command: list[str], environment: dict[str, str]) -> subprocess.CompletedProcess[str]:
        # the server inherits what pg_ctl writes to: a pipe would stay open as long as it runs
        with (self.place / "pg_ctl.out").open("w") as stream:
            done = subprocess.run(
                command, cwd=self.place, env=environment, stdin=subprocess.DEVNULL, stdout=stream,
                stderr=subprocess.STDOUT, timeout=480, **self._as,
            )  # fmt: skip
        said = (self.place / "pg_ctl.out").read_text(encoding="utf-8", errors="replace")
        return subprocess.CompletedProcess(command, done.returncode, said)

    def connect(self) -> psycopg.Connection[tuple[object, ...]]:
        return psycopg.connect(host=str(self.place), user=ROLE, dbname="postgres", autocommit=True)

    def fresh_url(self) -> str:
        """URL of an empty schema of its own."""
        name = f"book_{uuid.uuid4().hex[:12]}"
        with self.connect() as connection:
            connection.execute(f"CREATE SCHEMA {name}")
        return self.url(name)

    def url(self, schema: str) -> str:
        options = quote(f"-csearch_path={schema}", safe="")
        return f"postgresql://{ROLE}@/postgres?host={quote(str(self.place), safe='')}&options={options}"
