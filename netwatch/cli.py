"""The command line: finds the verb, parses its options, turns the end into an exit code.

To add a verb, write its module in ``commands/`` and name it in ``VERBS``.
"""

from __future__ import annotations

import difflib
import io
import os
import sys
from argparse import ArgumentParser, RawDescriptionHelpFormatter
from collections.abc import Iterable, Sequence
from importlib import import_module
from types import ModuleType
from typing import IO, NoReturn

from . import __version__
from .commands.output import complain, say
from .exits import MEANINGS, Exit, Stop

VERBS = (
    "watch", "guard", "soak", "mark", "laptop", "replay", "open", "report", "compare", "plan", "ask", "reach", "explain",
    "settings",
)
"""Each is the module of that name in ``commands/``, loaded when it is needed."""


class Parser(ArgumentParser):
    """Examples first in the help, one sentence for an error."""

    summary = ""
    examples: Sequence[tuple[str, str]] = ()

    def format_help(self) -> str:
        """Summary, examples, then the usage and the options."""
        return f"{self.prog}: {self.summary}.\n\n{_table('Examples', self.examples)}\n{super().format_help()}"

    def print_help(self, file: IO[str] | None = None) -> None:  # type: ignore[override]
        """To standard output, whose reader may go away."""
        say(self.format_help())

    def error(self, message: str) -> NoReturn:
        raise Stop(Exit.USAGE, f"{message}; '{self.prog} --help' shows examples.")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one verb; the exit code."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        # Names from packets may hold signs that this terminal's encoding lacks.
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        return _run(list(sys.argv[1:] if argv is None else argv))
    except Stop as stop:
        complain(str(stop))
        return stop.code
    except KeyboardInterrupt:
        return Exit.INTERRUPTED


def _run(words: list[str]) -> Exit:
    """Dispatch on the first word."""
    if not words and _on_terminal():
        from .commands import begin

        return begin.run(lambda verb, command, arguments: parser(verb, command).parse_args(arguments))
    if not words:
        raise Stop(Exit.USAGE, "Say what to do, for example 'netwatch replay FILE'; 'netwatch --help' shows more.")
    verb, *rest = words
    if verb in ("-h", "--help", "help"):
        say(help_text())
        return Exit.FINE
    if verb == "--version":
        say(f"netwatch {__version__}")
        return Exit.FINE
    if verb not in VERBS:
        raise Stop(Exit.USAGE, _no_verb(verb))
    command = _command(verb)
    code: Exit = command.run(parser(verb, command).parse_args(rest))
    return code


def _on_terminal() -> bool:
    return all(each is not None and each.isatty() for each in (sys.stdin, sys.stdout)) and os.environ.get("TERM") != "dumb"


def parser(verb: str, command: ModuleType) -> Parser:
    """The parser of one verb."""
    made = Parser(
        f"netwatch {verb}", epilog=_exit_codes(), formatter_class=RawDescriptionHelpFormatter, allow_abbrev=False
    )
    made.summary, made.examples = command.SUMMARY, command.EXAMPLES
    command.add(made)
    return made


def help_text() -> str:
    """The help of the program as a whole."""
    commands = {verb: _command(verb) for verb in VERBS}
    examples = [example for command in commands.values() for example in command.EXAMPLES]
    verbs = [(verb, command.SUMMARY) for verb, command in commands.items()]
    return "\n".join((
        "netwatch: see, watch and explain the network that carries light. It sends nothing unasked.", "",
        _table("Examples", examples), _table("Verbs ('netwatch VERB --help' tells more)", verbs), _exit_codes(),
    ))


def _command(verb: str) -> ModuleType:
    return import_module(f".commands.{verb}", __package__)


def _table(title: str, rows: Iterable[tuple[str, str]]) -> str:
    rows = list(rows)
    width = max(len(left) for left, _ in rows)
    return f"{title}:\n" + "".join(f"  {left:{width}}  {right}\n" for left, right in rows)


def _exit_codes() -> str:
    return _table("Exit codes", [(str(int(code)), meaning) for code, meaning in MEANINGS.items()])


def _no_verb(word: str) -> str:
    """What was perhaps meant."""
    near = difflib.get_close_matches(word, VERBS, n=1)
    if near:
        return f"There is no '{word}'; did you mean 'netwatch {near[0]}'?"
    if word.endswith((".pcap", ".pcapng", ".gz", ".cap")):
        return f"Say what to do with the capture: 'netwatch replay {word}'."
    return f"There is no '{word}'; 'netwatch --help' lists what there is."
