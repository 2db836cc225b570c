"""On which line of a TOML file each key stands, which the standard library's reader does not tell.

The text is known to be valid TOML when it comes here, so that a scanner can do without a grammar's checks.
"""

import re
import tomllib
from collections.abc import Iterator
from typing import NamedTuple

KeyPath = tuple[str | int, ...]

_TOKEN = re.compile(
    r'''(?P<skip>\#[^\n]*|[^\S\n]+)
    |(?P<newline>\n)
    |(?P<text>"""(?:\\.|[^\\])*?"""(?:"{0,2})|\'\'\'.*?\'\'\'(?:'{0,2})|"(?:\\.|[^"\\\n])*"|'[^'\n]*')
    |(?P<mark>[\[\]{},=])
    |(?P<word>[^\s\[\]{},=\#"']+)''',
    re.VERBOSE | re.DOTALL,
)


class _Token(NamedTuple):
    kind: str
    text: str
    line: int


_END = _Token("end", "", 0)


def lines_of_keys(text: str) -> dict[KeyPath, int]:
    """The line, from 1, of every table, key and element of a list in a TOML text."""
    return _Scanner(list(_tokens(text))).scan()


def _tokens(text: str) -> Iterator[_Token]:
    line = 1
    for match in _TOKEN.finditer(text):
        if match.lastgroup != "skip":
            yield _Token(str(match.lastgroup), match[0], line)
        line += match[0].count("\n")


class _Scanner:
    """One pass over the tokens of a text."""

    def __init__(self, tokens: list[_Token]) -> None:
        self._tokens = tokens
        self._at = 0
        self._lines: dict[KeyPath, int] = {}
        self._elements: dict[KeyPath, int] = {}

    def scan(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        while self._over_newlines().kind != "end":
            if self._next().text == "[":
                table = self._header()
            else:
                self._pair(table)
        return self._lines

    def _next(self) -> _Token:
        return self._tokens[self._at] if self._at < len(self._tokens) else _END

    def _take(self) -> _Token:
        token = self._next()
        self._at += 1
        return token

    def _over_newlines(self) -> _Token:
        while self._next().kind == "newline":
            self._at += 1
        return self._next()

    def _note(self, path: KeyPath, line: int) -> None:
        for length in range(1, len(path) + 1):
            self._lines.setdefault(path[:length], line)

    def _header(self) -> KeyPath:
        line = self._take().line
        listed = self._next().text == "["
        if listed:
            self._take()
        path: KeyPath = ()
        for part in self._key("]"):
            path = self._into_last((*path, part))
        if listed:
            path = self._into_last(path, new=True)
        self._note(path, line)
        return path

    def _into_last(self, path: KeyPath, *, new: bool = False) -> KeyPath:
        """The path of the newest element where a path names a list of tables."""
        if new:
            bare = path[:-1] if path and isinstance(path[-1], int) else path
            self._elements[bare] = self._elements.get(bare, -1) + 1
            return (*bare, self._elements[bare])
        return (*path, self._elements[path]) if path in self._elements else path

    def _key(self, stop: str) -> list[str]:
        parts: list[str] = []
        while self._next().text != stop:
            token = self._take()
            quoted = token.kind == "text"
            parts += [tomllib.loads(f"x = {token.text}")["x"]] if quoted else filter(None, token.text.split("."))
        while self._next().text == stop:
            self._take()
        return parts

    def _pair(self, table: KeyPath) -> None:
        line = self._next().line
        path = (*table, *self._key("="))
        self._note(path, line)
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        opening = self._next().text
        if opening == "[":
            self._list(path)
        elif opening == "{":
            self._inline_table(path)
        while self._next().kind in {"word", "text"}:
            self._take()

    def _list(self, path: KeyPath) -> None:
        self._take()
        index = 0
        while (token := self._over_newlines()).text != "]":
            if token.text == ",":
                self._take()
                continue
            self._note((*path, index), token.line)
            self._value((*path, index))
            index += 1
        self._take()

    def _inline_table(self, path: KeyPath) -> None:
        self._take()
        while (token := self._over_newlines()).text != "}":
            if token.text == ",":
                self._take()
            else:
                self._pair(path)
        self._take()
