"""``netwatch settings``: every setting with its value, unit, source and reason."""

from __future__ import annotations

import json
from argparse import ArgumentParser, Namespace
from dataclasses import fields

from ..exits import Exit
from ..numbers import Numbers
from ..settings import ON_ALERT, WORDS, Settings
from . import options
from .output import say

SUMMARY = "list every setting with its value, its source and its reason"
EXAMPLES = (
    ("netwatch settings", "the values in force here"),
    ("netwatch settings > netwatch.toml", "a file to change and keep beside the captures"),
)


def add(parser: ArgumentParser) -> None:
    """The verb's arguments."""
    options.add_settings(parser)


def run(arguments: Namespace) -> Exit:
    """Write the settings in force as TOML. Raises ``Stop``."""
    say(toml(options.settings(arguments)))
    return Exit.FINE


def toml(settings: Settings) -> str:
    """The settings as a TOML document: defaults commented out, set values as they are."""
    lines = ["# Settings of netwatch. Take the '#' away in front of a line to set it.", ""]
    for key, f in WORDS.items():
        choices = ", ".join(f.metadata["choices"])
        lines.append(f"# {f.metadata['why']}: {choices}")
        lines += [_line(key, f'"{getattr(settings.words, f.name)}"', settings.origins.get(key)), ""]
    lines.append("# a command that gets each alert as JSON on its standard input; read only from your own settings or --config")
    lines += [f"# {ON_ALERT} = {json.dumps(list(settings.on_alert))}", ""]
    for number in fields(Numbers):
        facts = number.metadata
        lines.append(f"# in {facts['unit']}; {facts['why']} ({facts['source']})")
        lines += [_line(number.name, str(getattr(settings.numbers, number.name)), settings.origins.get(number.name)), ""]
    for change in settings.changed():
        lines.append(f"# Changed: {change}")
    return "\n".join(lines)


def _line(key: str, value: str, origin: str | None) -> str:
    return f"{key} = {value}" if origin else f"# {key} = {value}"
