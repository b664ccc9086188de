"""Options that verbs share: the settings."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from pathlib import Path
from typing import TYPE_CHECKING

from ..exits import Exit, Stop
from ..settings import Settings, SettingsError, load, split_option

if TYPE_CHECKING:
    from ..plan.rig import Plan

SEVERITIES = ("now", "soon", "quality", "tidy", "note")


def add_settings(parser: ArgumentParser) -> None:
    """--fail-on, --from, --phase, --config and --set."""
    parser.add_argument(
        "--fail-on", choices=SEVERITIES, metavar="SEVERITY",
        help="exit with 1 for alerts of this severity or worse: now, soon, quality, tidy or note (default: soon)",
    )
    parser.add_argument(
        "--from", dest="from_", choices=("mirror", "ordinary", "wifi"), metavar="PLACE",
        help="where we listen: mirror (mirror port), ordinary (ordinary switch port) or wifi; else it is worked out",
    )
    parser.add_argument(
        "--phase", choices=("building", "show"), metavar="PHASE",
        help="building (default) or show: what stands at the top, and what is only a note; in replay it then holds throughout",
    )
    parser.add_argument("--config", type=Path, metavar="FILE", help="read settings from this file too")
    parser.add_argument(
        "--set", dest="set_", action="append", default=[], metavar="KEY=VALUE",
        help="one setting for this run; 'netwatch settings' lists them all",
    )


def add_plan(parser: ArgumentParser) -> None:
    """--plan."""
    parser.add_argument(
        "--plan", type=Path, metavar="PLAN",
        help="compare with what the rig is meant to be: a plan file (rig.toml) or a spreadsheet (.csv, .xlsx)",
    )


def plan(arguments: Namespace) -> Plan | None:
    """The plan that was named. Raises ``Stop``."""
    if arguments.plan is None:
        return None
    from ..plan.read import read
    from ..plan.rig import PlanError

    try:
        return read(arguments.plan)
    except PlanError as error:
        raise Stop(Exit.USAGE, str(error)) from None


def settings(arguments: Namespace) -> Settings:
    """The settings in force. Raises ``Stop``."""
    named = {"fail_on": arguments.fail_on, "from": arguments.from_, "phase": arguments.phase}
    try:
        options = dict(split_option(text) for text in arguments.set_)
        options |= {key: value for key, value in named.items() if value is not None}
        return load(options, config=arguments.config)
    except SettingsError as error:
        raise Stop(Exit.USAGE, str(error)) from None
