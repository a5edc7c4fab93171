"""A PostgreSQL of our own: in a temporary directory, on a free loopback port, stopped when it is done with.

The programs are looked for in the folder that CURBTICK_POSTGRES_BIN names, on the PATH, and where Debian puts
them. PostgreSQL refuses to run as root, so root starts it as the user `postgres` (CURBTICK_POSTGRES_USER).
"""

import os
import secrets
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
from curbtick.store.schema import upgrade

from tests import programs

START_S = 60


class Server:
    """A running server; `url(name)` names a database of it, the password is in PGPASSWORD."""

    def __init__(self, folder: Path, binaries: Path) -> None:
        self._folder, self._binaries = folder, binaries
        self._user = os.environ.get("CURBTICK_POSTGRES_USER", "postgres") if os.geteuid() == 0 else None
        self.password = secrets.token_hex(12)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self._made = 0
        self._more: list[str] = []
        self._initialise()
        self.start()

    def url(self, database: str, user: str = "steward") -> str:
        return f"postgresql+psycopg://{user}@127.0.0.1:{self.port}/{database}"

    def new_database(self) -> str:
        """URL of a new, empty database."""
        self._made += 1
        name = f"history{self._made}"
        with self.connect() as connection:
            connection.execute(f"CREATE DATABASE {name} TEMPLATE template0")
        return self.url(name)

    def new_history(self) -> str:
        """URL of a new history of this program's version."""
        url = self.new_database()
        upgrade(url)
        return url

    def connect(self, database: str = "postgres", user: str = "steward") -> psycopg.Connection:
        where = f"host=127.0.0.1 port={self.port} dbname={database} user={user}"
        return psycopg.connect(where, password=self.password, autocommit=True)

    def start(self) -> None:
        log = (self._folder / "server.log").open("ab")
        options = [
            "-p",
            str(self.port),
            "-k",
            str(self._folder),
            "-c",
            "listen_addresses=127.0.0.1",
            *self._more,
        ]
        command = [str(self._binaries / "postgres"), "-D", str(self._folder / "data"), *options]
        self._process = subprocess.Popen(
            command, stdout=log, stderr=log, cwd=self._folder, user=self._user, start_new_session=True
        )
        log.close()
        self._await()

    def stop(self, how: signal.Signals = signal.SIGINT) -> None:
        """Stop: SIGINT breaks off every session, SIGQUIT is a crash with recovery at the next start."""
        self._process.send_signal(how)
        self._process.wait(START_S)

    def restart(self, how: signal.Signals = signal.SIGQUIT) -> None:
        self.stop(how)
        self.start()

    def speak_tls(self) -> Path:
        """Restart with a certificate of its own for 127.0.0.1; returns the certificate, which vouches for itself."""
        certificate, key = self._folder / "server.crt", self._folder / "server.key"
        command = [
            str(programs.OPENSSL.find()),
            "req",
            "-x509",
            "-newkey",
            "rsa:2048",
            "-nodes",
            "-days",
            "2",
            "-subj",
            "/CN=127.0.0.1",
        ]
        files = ["-addext", "subjectAltName=IP:127.0.0.1", "-keyout", str(key), "-out", str(certificate)]
        subprocess.run([*command, *files], check=True, capture_output=True)
        key.chmod(0o600)
        if self._user:
            shutil.chown(key, self._user)
        settings = {"ssl": "on", "ssl_cert_file": certificate, "ssl_key_file": key}
        self._more = [word for name, value in settings.items() for word in ("-c", f"{name}={value}")]
        self.restart()
        return certificate

    def _initialise(self) -> None:
        secret = self._folder / "secret"
        secret.write_text(self.password)
        if self._user:
            for path in (self._folder, secret):
                shutil.chown(path, self._user)
        command = [str(self._binaries / "initdb"), "-D", str(self._folder / "data"), "-U", "steward"]
        options = ["-E", "UTF8", "--locale=C", "-A", "scram-sha-256", f"--pwfile={secret}", "--no-sync"]
        subprocess.run(
            [*command, *options], check=True, capture_output=True, cwd=self._folder, user=self._user
        )

    def _await(self) -> None:
        until_s = time.monotonic() + START_S
        while True:
            try:
                self.connect().close()
            except psycopg.OperationalError:
                if time.monotonic() > until_s or self._process.poll() is not None:
                    raise
                time.sleep(0.1)
            else:
                return


@contextmanager
def running() -> Iterator[Server]:
    """A server for as long as the block lasts. Raises FileNotFoundError where none is installed."""
    binaries = programs.POSTGRESQL.find()
    if binaries is None:
        raise FileNotFoundError(programs.POSTGRESQL.how)
    folder = Path(tempfile.mkdtemp(prefix="curbtick-postgres-"))
    before = os.environ.get("PGPASSWORD")
    try:
        server = Server(folder, binaries)
        os.environ["PGPASSWORD"] = server.password
        try:
            yield server
        finally:
            server.stop(signal.SIGQUIT)
    finally:
        if before is None:
            os.environ.pop("PGPASSWORD", None)
        else:
            os.environ["PGPASSWORD"] = before
        shutil.rmtree(folder, ignore_errors=True)
