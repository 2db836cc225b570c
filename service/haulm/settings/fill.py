"""A settings file of one's own, written out of the commented sample: the same comments, other values."""

import re
from collections.abc import Iterator, Mapping, Sequence

from haulm.settings.sample import sample_toml

_HEADER = re.compile(r"(?:# )?\[([a-z][\w.-]*)\]")
_KEY = re.compile(r"(?:# )?([a-z_]+) = ")
KEYED = ("beds", "plantings", "recipients")

Values = Mapping[str, Mapping[str, str]]


def filled(values: Values) -> str:
    """The sample with other values.

    Parameters
    ----------
    values
        For each table by its dotted name ("place", "beds.gatebed", "post.mail") its keys with what stands behind the
        equals sign. A key that is not given is marked out and so takes its default; so is a keyed table of which
        none is given. Tables that are not named stay as they are in the sample.
    """
    return "".join(_blocks(values))


def text_value(value: object) -> str:
    """A value as it stands in the file: text in quotes, numbers and dates bare, lists in brackets."""
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, Sequence):
        return f"[{', '.join(text_value(each) for each in value)}]"
    return str(value)


def _blocks(values: Values) -> Iterator[str]:
    for name, lines in _sample_blocks():
        table = name.split(".")[0]
        if table in KEYED:
            own = [given for given in values if given.split(".")[0] == table]
            yield from (_block(given, lines, values[given]) for given in own)
            if not own:
                yield "".join(line if line.startswith(("#", "\n")) else f"# {line}" for line in lines)
        elif name in values:
            yield _block(name, lines, values[name])
        else:
            yield "".join(lines)


def _sample_blocks() -> list[tuple[str, list[str]]]:
    """The sample cut before each table, with the name of the table; comments above a table go with it."""
    blocks: list[tuple[str, list[str]]] = [("", [])]
    for line in sample_toml().splitlines(keepends=True):
        header = _HEADER.fullmatch(line.rstrip("\n"))
        if header:
            above = _comments_above(blocks[-1][1])
            blocks.append((header[1], [*above, line]))
        else:
            blocks[-1][1].append(line)
    return blocks


def _comments_above(lines: list[str]) -> list[str]:
    """Take the comments that stand directly above a table's name off the end of the block before it."""
    taken: list[str] = []
    while lines and lines[-1].startswith("#") and not _KEY.match(lines[-1]):
        taken.insert(0, lines.pop())
    return taken


def _block(name: str, lines: list[str], given: Mapping[str, str]) -> str:
    written = []
    for line in lines:
        key = _KEY.match(line)
        if _HEADER.fullmatch(line.rstrip("\n")):
            written.append(f"[{name}]\n")
        elif key and key[1] in given:
            written.append(f"{key[1]} = {given[key[1]]}\n")
        elif key and not line.startswith("#"):
            written.append(f"# {line}")
        else:
            written.append(line)
    return "".join(written)
