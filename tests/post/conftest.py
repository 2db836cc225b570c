"""Real servers on loopback: mail with TLS and logins, mail that follows a script, and a web address."""

import socket
import socketserver
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword

from haulm.settings.post_form import MailTable

USER, PASSWORD = "grower@brackenford.example", "straw over seed"


@pytest.fixture(autouse=True)
def no_proxy(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_PROXY", "*")


@pytest.fixture(scope="session")
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture(scope="session")
def cafile(authority: trustme.CA, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("authority") / "authority.pem"
    authority.cert_pem.write_to_path(str(path))
    return path


@pytest.fixture(scope="session")
def server_tls(authority: trustme.CA) -> ssl.SSLContext:
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    authority.issue_cert("localhost", "127.0.0.1").configure_cert(context)
    return context


@dataclass
class Mailbox:
    """What a server got, and how it is to behave."""

    port: int = 0
    letters: list[Envelope] = field(default_factory=list)
    refused: dict[str, str] = field(default_factory=dict)
    answer_to_data: str = "250 taken"
    connections: int = 0
    logins: int = 0
    drop_after_data: bool = False

    async def handle_RCPT(  # noqa: N802  the library calls it by this name
        self, server: SMTP, session: Any, envelope: Envelope, address: str, options: Any
    ) -> str:
        if address in self.refused:
            return self.refused[address]
        envelope.rcpt_tos.append(address)
        return "250 ok"

    async def handle_DATA(self, server: SMTP, session: Any, envelope: Envelope) -> str:  # noqa: N802  likewise
        if self.drop_after_data:
            server.transport.abort()  # type: ignore[union-attr]
            return "250 never heard"
        if self.answer_to_data.startswith("250"):
            self.letters.append(envelope)
        return self.answer_to_data

    def check(self, server: SMTP, session: Any, envelope: Any, mechanism: str, given: Any) -> AuthResult:
        self.logins += 1
        right = isinstance(given, LoginPassword) and (given.login, given.password) == (USER.encode(), PASSWORD.encode())
        return AuthResult(success=right, handled=False)


class _Controller(Controller):
    """A controller that counts connections."""

    def factory(self) -> SMTP:
        self.handler.connections += 1
        return super().factory()


def _free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.fixture
def mail_server(server_tls: ssl.SSLContext) -> Iterator[Callable[..., Mailbox]]:
    """Start a server for a kind of security; with a login that it asks for, unless told not to."""
    running: list[Controller] = []

    def start(security: str = "tls", *, login: bool = True, tls: ssl.SSLContext = server_tls) -> Mailbox:
        mailbox = Mailbox(port=_free_port())
        options: dict[str, Any] = {"hostname": "127.0.0.1", "port": mailbox.port, "ident": "test"}
        if security == "tls":
            options["ssl_context"] = tls
        if security == "starttls":
            options |= {"tls_context": tls, "require_starttls": True}
        if login:
            # The library sees no TLS of its own where the connection began with it.
            options |= {"auth_required": True, "auth_require_tls": security == "starttls"}
            options["authenticator"] = mailbox.check
        controller = _Controller(mailbox, **options)
        controller.start()
        mailbox.connections = 0
        running.append(controller)
        return mailbox

    yield start
    for controller in running:
        controller.stop()


@pytest.fixture
def settings_for(cafile: Path) -> Callable[..., MailTable]:
    def table(port: int, security: str = "tls", **changes: Any) -> MailTable:
        plain = {
            "host": "localhost",
            "port": port,
            "security": security,
            "user": USER,
            "password": PASSWORD,
            "sender": "haulm@brackenford.example",
            "cafile": str(cafile),
            "timeout_seconds": 5,
        }
        return MailTable.model_validate({**plain, **changes})

    return table


Script = Callable[[socket.socket], None]


@pytest.fixture
def scripted() -> Iterator[Callable[[Script], int]]:
    """Serve each connection with a function of its socket; gives the port."""
    servers: list[socketserver.ThreadingTCPServer] = []

    def start(script: Script) -> int:
        class Handler(socketserver.BaseRequestHandler):
            def handle(self) -> None:
                with suppress(OSError):
                    script(self.request)

        server = socketserver.ThreadingTCPServer(("127.0.0.1", 0), Handler)
        server.daemon_threads = True
        threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True).start()
        servers.append(server)
        return int(server.server_address[1])

    yield start
    for server in servers:
        server.shutdown()
        server.server_close()


@pytest.fixture
def talk() -> Callable[..., Script]:
    """A script that answers by the first word of each command; an answer of None ends the connection."""

    def make(answers: dict[str, str | None]) -> Script:
        def script(connection: socket.socket) -> None:
            connection.sendall(b"220 localhost\r\n")
            with connection.makefile("rb") as lines:
                for line in lines:
                    word = line.split()[0].decode().upper() if line.split() else ""
                    answer = answers.get(word, "250 ok")
                    if answer is None:
                        return
                    connection.sendall(f"{answer}\r\n".encode())

        return script

    return make


@pytest.fixture
def drip() -> Script:
    """A greeting that never ends, a byte at a time: no single wait is long."""

    def script(connection: socket.socket) -> None:
        for _ in range(200):
            connection.sendall(b"2")
            time.sleep(0.05)

    return script


@dataclass
class Web:
    """A web server: what it got, and how it answers."""

    port: int = 0
    status: int = 204
    headers: dict[str, str] = field(default_factory=dict)
    silent_s: float = 0.0
    got: list[tuple[str, dict[str, str], bytes]] = field(default_factory=list)


@pytest.fixture
def web(server_tls: ssl.SSLContext) -> Iterator[Callable[..., Web]]:
    servers: list[ThreadingHTTPServer] = []

    def start(*, tls: bool = False) -> Web:
        state = Web()

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                state.got.append((self.path, dict(self.headers.items()), body))
                time.sleep(state.silent_s)
                self.send_response(state.status)
                for name, value in {"Content-Length": "0", **state.headers}.items():
                    self.send_header(name, value)
                self.end_headers()

            def log_message(self, format: str, *args: Any) -> None:  # noqa: A002  the base class names it
                """Keep the test's output clean."""

        class Server(ThreadingHTTPServer):
            daemon_threads = True

            def handle_error(self, request: Any, client_address: Any) -> None:
                """A client that leaves early is what some tests are about."""

        server = Server(("127.0.0.1", 0), Handler)
        if tls:
            server.socket = server_tls.wrap_socket(server.socket, server_side=True)
        threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True).start()
        servers.append(server)
        state.port = server.server_address[1]
        return state

    yield start
    for server in servers:
        server.shutdown()
        server.server_close()
