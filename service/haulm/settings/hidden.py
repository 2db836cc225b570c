"""Secrets: the places they may stand in, brought into the settings before these are judged, and never shown."""

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from haulm.files import explain, is_open
from haulm.settings.faults import Found, is_secret
from haulm.settings.file_form import SettingsFile
from haulm.settings.lines import KeyPath
from haulm.settings.names import Tree, dotted, known_values, put, value_at

_MOST_BYTES = 4096


@dataclass(slots=True)
class Hidden:
    """A settings tree with its secrets in place, what is wrong with them, and what a person should know."""

    tree: Tree
    found: list[Found] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def bring_in(tree: Tree, path: Path, set_by: Mapping[KeyPath, str], environ: Mapping[str, str]) -> Hidden:
    """Look for each secret: in the environment (which has spoken already), then among systemd's credentials, then in
    the file named beside it, then in the settings file itself.

    A table that is not there gets no secret, so that one set of credentials can serve several gardens.

    Parameters
    ----------
    tree
        The settings as the file and the environment have them.
    path
        The settings file.
    set_by
        The values that were set by something other than the file.
    environ
        For ``CREDENTIALS_DIRECTORY``, where systemd puts what ``LoadCredential=post.mail.password:…`` names.
    """
    hidden = Hidden(tree)
    for key, setting in known_values(SettingsFile, tree):
        if is_secret(setting) and key not in set_by and isinstance(value_at(tree, key[:-1]), Mapping):
            _look(hidden, key, path, environ.get("CREDENTIALS_DIRECTORY", ""))
    return hidden


def _look(hidden: Hidden, key: KeyPath, path: Path, credentials: str) -> None:
    beside = (*key[:-1], f"{key[-1]}_file")
    written, named = value_at(hidden.tree, key), value_at(hidden.tree, beside)
    if credentials and (Path(credentials) / dotted(key)).exists():
        _take(hidden, key, key, Path(credentials) / dotted(key))
    elif written is not None and named is not None:
        hidden.found.append(Found(beside, f"write {key[-1]} or {beside[-1]}, not both", show=False))
    elif isinstance(named, str) and named.strip():
        _take(hidden, key, beside, path.absolute().parent / os.path.expanduser(named.strip()))  # noqa: PTH111  "~nobody" must not raise
    elif written is not None:
        hidden.notes.append(_in_the_open(key, path))


def _take(hidden: Hidden, key: KeyPath, named_by: KeyPath, file: Path) -> None:
    try:
        secret = _read(file)
    except ValueError as error:
        hidden.found.append(Found(named_by, str(error), show=False))
        return
    hidden.tree = put(hidden.tree, key, secret)
    if named_by != key and is_open(file):
        hidden.notes.append(f"Others on this machine can read {file}: run chmod 600 on it.")


def _read(file: Path) -> str:
    """The one line of a file, or a ValueError in the words of a fault."""
    try:
        with file.open("rb") as stream:
            raw = stream.read(_MOST_BYTES + 1)
    except OSError as error:
        raise ValueError(f"{file} cannot be read: {explain(error)[0]}") from error
    try:
        text = raw.decode("utf-8-sig").rstrip("\r\n")
    except UnicodeDecodeError as error:
        raise ValueError(f"{file} is not UTF-8 text") from error
    if not text or "\n" in text or len(raw) > _MOST_BYTES:
        raise ValueError(f"{file} must hold one line with the secret, and nothing else")
    return text


def _in_the_open(key: KeyPath, path: Path) -> str:
    if is_open(path):
        told = f"others on this machine can read it: run chmod 600 {path}"
    else:
        told = f"every copy of it holds the secret too; {key[-1]}_file keeps it apart"
    return f"{dotted(key)} stands in the settings file, and {told}."
