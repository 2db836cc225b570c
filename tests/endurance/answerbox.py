"""A small mailbox server on loopback (IMAP over TLS, the commands that haulm uses) that can fail at each of them."""

import json
import re
import socketserver
import ssl
import threading
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import trustme

WAYS = ("login refused by the mailbox", "mailbox hangs", "mailbox breaks off mid-fetch", "mailbox talks garbage")
VALIDITY = 7
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True)
class Held:
    """One message as it arrived."""

    uid: int
    came: date
    sender: str
    raw: bytes


class Mailbox:
    """`messages` are what has arrived; `way` is how it fails now, `struck` how often that was met."""

    def __init__(self, folder: Path, user: str, password: str) -> None:
        self.user, self.password = user, password
        self._kept = folder / "arrived.jsonl"
        self.messages: list[Held] = []
        if self._kept.exists():
            for line in self._kept.read_text().splitlines():
                uid, came, sender, raw = json.loads(line)
                self.messages.append(Held(uid, date.fromisoformat(came), sender, raw.encode("latin-1")))
        self.way = ""
        self.struck: Counter[str] = Counter()
        self.over = threading.Event()
        authority = trustme.CA()
        self.cafile = folder / "authority.pem"
        authority.cert_pem.write_to_path(self.cafile)
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        authority.issue_cert("localhost").configure_cert(context)
        self._server = _Server(("127.0.0.1", 0), self, context)
        self.port = self._server.server_address[1]
        threading.Thread(target=self._server.serve_forever, args=(0.1,), daemon=True).start()

    def close(self) -> None:
        """Stop listening."""
        self.over.set()
        self._server.shutdown()
        self._server.server_close()

    def put(self, sender: str, subject: str, text: str, identity: str, now: datetime) -> None:
        """A message arrives."""
        message = EmailMessage()
        message["From"], message["To"], message["Subject"] = sender, self.user, subject
        message["Date"], message["Message-ID"] = now, identity
        message.set_content(text)
        held = Held(len(self.messages) + 1, now.date(), sender, message.as_bytes())
        self.messages.append(held)
        with self._kept.open("a") as file:
            file.write(json.dumps([held.uid, held.came.isoformat(), sender, held.raw.decode("latin-1")]) + "\n")


class _Server(socketserver.ThreadingTCPServer):
    daemon_threads = True
    allow_reuse_address = True
    block_on_close = False

    def __init__(self, at: tuple[str, int], box: Mailbox, context: ssl.SSLContext) -> None:
        super().__init__(at, _Talk)
        self.box, self._context = box, context

    def finish_request(self, request: Any, client_address: Any) -> None:
        with self._context.wrap_socket(request, server_side=True) as secure:
            super().finish_request(secure, client_address)  # type: ignore[arg-type]

    def handle_error(self, request: Any, client_address: Any) -> None:  # the client has gone
        pass


class _Talk(socketserver.StreamRequestHandler):
    server: _Server

    def handle(self) -> None:
        box = self.server.box
        if self._struck("mailbox talks garbage"):
            self.wfile.write(bytes(range(128, 255)) * 20 + b"\r\n")
            return
        self._say("* OK loopback")
        while line := self.rfile.readline():
            tag, _, rest = line.decode("latin-1").strip().partition(" ")
            word, _, words = rest.partition(" ")
            if word.upper() == "UID":
                word, _, words = words.partition(" ")
            if word.upper() == "LOGIN" and self._struck("mailbox hangs"):
                box.over.wait(2.5)
                return
            if not self._one(tag, word.upper(), words):
                return

    def _one(self, tag: str, word: str, words: str) -> bool:
        box = self.server.box
        if word == "CAPABILITY":
            self._say("* CAPABILITY IMAP4rev1", f"{tag} OK done")
        elif word == "LOGIN":
            given = [one.strip('"') for one in words.split(" ")]
            bad = self._struck("login refused by the mailbox") or given != [box.user, box.password]
            self._say(f"{tag} NO [AUTHENTICATIONFAILED] no" if bad else f"{tag} OK welcome")
        elif word in {"SELECT", "EXAMINE"}:
            self._say(
                f"* {len(box.messages)} EXISTS", f"* OK [UIDVALIDITY {VALIDITY}] valid", f"{tag} OK [READ-ONLY] done"
            )
        elif word == "SEARCH":
            found = " ".join(str(one.uid) for one in _searched(box.messages, words))
            self._say(f"* SEARCH {found}".rstrip(), f"{tag} OK done")
        elif word == "FETCH":
            return self._fetch(tag, words)
        elif word == "LOGOUT":
            self._say("* BYE", f"{tag} OK done")
            return False
        else:
            self._say(f"{tag} OK done")
        return True

    def _fetch(self, tag: str, words: str) -> bool:
        uid = int(words.split(" ", maxsplit=1)[0])
        raw = next(one.raw for one in self.server.box.messages if one.uid == uid)
        head = raw.partition(b"\n\n")[0] + b"\n\n"
        body = (head if "HEADER" in words else raw).replace(b"\n", b"\r\n")
        start = f"* {uid} FETCH (UID {uid} BODY[] {{{len(body)}}}\r\n".encode()
        if self._struck("mailbox breaks off mid-fetch"):
            self.wfile.write(start + body[: len(body) // 2])
            return False
        self.wfile.write(start + body + b")\r\n")
        self._say(f"{tag} OK done")
        return True

    def _struck(self, way: str) -> bool:
        if self.server.box.way == way:
            self.server.box.struck[way] += 1
        return self.server.box.way == way

    def _say(self, *lines: str) -> None:
        self.wfile.write("".join(f"{line}\r\n" for line in lines).encode("latin-1"))
        self.wfile.flush()


def _searched(messages: Sequence[Held], words: str) -> list[Held]:
    """UID n:*, SINCE day, any of some FROM, HEADER Message-ID: what haulm searches for."""
    found = list(messages)
    if span := re.search(r"UID (\d+):\*", words):
        # RFC 9051: the last message is always within n:*.
        first = min(int(span[1]), len(messages))
        found = [one for one in found if one.uid >= first]
    if since := re.search(r"SINCE (\d+)-(\w+)-(\d+)", words):
        day = date(int(since[3]), _MONTHS.index(since[2]) + 1, int(since[1]))
        found = [one for one in found if one.came >= day]
    if senders := re.findall(r'FROM "([^"]+)"', words):
        found = [one for one in found if any(sender in one.sender for sender in senders)]
    if wanted := re.search(r'HEADER Message-ID "([^"]+)"', words):
        found = [one for one in found if wanted[1].encode() in one.raw]
    return found
