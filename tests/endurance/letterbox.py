"""A small mail server on loopback (RFC 5321, what a client needs of it) that keeps what it takes, doubles too.

It asks for a login, and fails as told: by recipient, or for all.
"""

import base64
import email
import json
import re
import socketserver
import threading
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from email import policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any
from urllib.parse import unquote

WAYS = (
    "mail refused", "mail deferred", "mailbox full", "mail server shut", "login refused", "dropped mid-DATA",
    "hangs in DATA", "greets with 421",
)  # fmt: skip
TAKEN_UNANSWERED = "taken, no answer"


class Letterbox:
    """`faults` maps a recipient (or "*") to a way of failing; `taken` are the letters accepted, kept in a file too."""

    def __init__(self, kept: Path, user: str, password: str) -> None:
        self.user, self.password, self._kept = user, password, kept
        self.now = datetime(2027, 1, 1, tzinfo=UTC)
        self.faults: dict[str, str] = {}
        self.struck: Counter[str] = Counter()
        self.over = threading.Event()
        self.on_taken: Callable[[bytes], None] = lambda _: None
        self.taken: list[dict[str, Any]] = []
        if kept.exists():
            self.taken = [json.loads(line) for line in kept.read_text().splitlines()]
        self._server = _Server(("127.0.0.1", 0), self)
        self.port = self._server.server_address[1]
        threading.Thread(target=self._server.serve_forever, args=(0.1,), daemon=True).start()

    def close(self) -> None:
        """Stop listening."""
        self.over.set()
        self._server.shutdown()
        self._server.server_close()

    def way(self, recipient: str = "*") -> str:
        """How a recipient's mail fails now; that of all where the recipient has none."""
        return self.faults.get(recipient) or self.faults.get("*", "")

    def take(self, recipient: str, raw: bytes, note: str) -> None:
        """Keep one letter."""
        message = email.message_from_bytes(raw, _class=EmailMessage, policy=policy.default)
        part = message.get_body(("plain",))
        told = {
            "at": self.now.isoformat(), "recipient": recipient, "id": str(message["Message-ID"]).strip(),
            "subject": str(message["Subject"]), "date": str(message["Date"]), "list": str(message["List-Id"]),
            "text": part.get_content().replace("\r\n", "\n") if part is not None else "", "note": note,
            "marks": _marks(message),
        }  # fmt: skip
        self.taken.append(told)
        with self._kept.open("a") as file:
            file.write(json.dumps(self.taken[-1]) + "\n")
        self.on_taken(raw)


def _marks(message: EmailMessage) -> list[str]:
    """The signed words of the links to answer by."""
    part = message.get_body(("html",))
    links = unquote(part.get_content()) if part is not None else ""
    return sorted(set(re.findall(r"\[H\d{6}[a-z]-[A-Z2-7]{16}\]", links)))


class _Server(socketserver.ThreadingTCPServer):
    daemon_threads = True
    allow_reuse_address = True
    block_on_close = False

    def __init__(self, at: tuple[str, int], box: Letterbox) -> None:
        super().__init__(at, _Talk)
        self.box = box

    def handle_error(self, request: Any, client_address: Any) -> None:  # the client has gone
        pass


class _Talk(socketserver.StreamRequestHandler):
    server: _Server

    def handle(self) -> None:  # noqa: C901  a conversation, a word a branch
        box = self.server.box
        if self._struck(box.way(), "mail server shut"):
            return
        if self._struck(box.way(), "greets with 421"):
            self._say("421 4.3.2 not now")
            return
        self._say("220 loopback ESMTP")
        recipient, known = "", False
        while line := self.rfile.readline():
            word, _, rest = line.decode("latin-1").strip().partition(" ")
            word = word.upper()
            if word == "EHLO":
                self._say("250-loopback", "250-AUTH PLAIN LOGIN", "250 8BITMIME")
            elif word == "AUTH":
                known = self._login(rest)
            elif word in {"MAIL", "RCPT"} and not known:
                self._say("530 5.7.0 log in first")
            elif word == "RCPT":
                recipient = rest.partition("<")[2].partition(">")[0]
                self._say(self._at_the_door(recipient))
            elif word == "DATA":
                if not self._data(recipient):
                    return
            elif word == "QUIT":
                self._say("221 2.0.0 bye")
                return
            else:
                self._say("250 2.0.0 OK")

    def _struck(self, way: str, wanted: str) -> bool:
        if way == wanted:
            self.server.box.struck[way] += 1
        return way == wanted

    def _say(self, *lines: str) -> None:
        self.wfile.write("".join(f"{line}\r\n" for line in lines).encode())
        self.wfile.flush()

    def _login(self, rest: str) -> bool:
        box = self.server.box
        if self._struck(box.way(), "login refused"):
            self._say("535 5.7.8 wrong password")
            return False
        kind, _, first = rest.partition(" ")
        if kind.upper() == "PLAIN":
            given = base64.b64decode(first).decode().split("\0")[1:]
        else:
            given = [
                base64.b64decode(first).decode() if first else self._ask("VXNlcm5hbWU6"),
                self._ask("UGFzc3dvcmQ6"),
            ]
        known = given == [box.user, box.password]
        self._say("235 2.7.0 welcome" if known else "535 5.7.8 wrong password")
        return known

    def _ask(self, what: str) -> str:
        self._say(f"334 {what}")
        return base64.b64decode(self.rfile.readline()).decode()

    def _at_the_door(self, recipient: str) -> str:
        way = self.server.box.way(recipient)
        answers = {
            "mail refused": "550 5.1.1 no such mailbox", "mail deferred": "451 4.7.1 try again later",
            "mailbox full": "452 4.2.2 mailbox full",
        }  # fmt: skip
        if way in answers:
            self.server.box.struck[way] += 1
        return answers.get(way, "250 2.1.5 OK")

    def _data(self, recipient: str) -> bool:
        box = self.server.box
        way = box.way(recipient)
        self._say("354 go on")
        if self._struck(way, "dropped mid-DATA"):
            self.rfile.read(2000)
            return False
        if self._struck(way, "hangs in DATA"):
            box.over.wait(1.5)
            return False
        lines = []
        while (line := self.rfile.readline()) not in {b".\r\n", b""}:
            lines.append(line[1:] if line.startswith(b"..") else line)
        if line == b"":
            return False  # the client died before its last line: nothing was taken
        unanswered = self._struck(way, TAKEN_UNANSWERED)
        box.take(recipient, b"".join(lines), "unanswered" if unanswered else "")
        if not unanswered:
            self._say("250 2.0.0 taken")
        return not unanswered
