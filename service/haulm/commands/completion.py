"""Words of the command that teaches a shell haulm's words."""

import argparse
from collections.abc import Callable

from haulm.commands.words import Commands, add
from haulm.errors import Exit

SHELLS = ("bash", "zsh", "tcsh")


def add_completion(commands: Commands, whole: Callable[[], argparse.ArgumentParser]) -> None:
    """The words of `haulm completion`; `whole` makes the parser of all commands."""
    told = 'Print what completes haulm\'s words in a shell; for bash: eval "$(haulm completion bash)".'
    parser = add(commands, "completion", lambda arguments: _completion(arguments, whole), told)
    parser.add_argument("shell", choices=SHELLS)


def _completion(arguments: argparse.Namespace, whole: Callable[[], argparse.ArgumentParser]) -> int:
    import shtab  # noqa: PLC0415  --help must stay light

    print(shtab.complete(whole(), shell=arguments.shell))
    return Exit.DONE
