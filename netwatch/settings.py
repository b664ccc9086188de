"""Settings laid over the numbers: option > NETWATCH_* > --config > ./netwatch.toml > the user's own file > defaults.

Strict: an unknown key or a value of the wrong kind is a ``SettingsError`` of one sentence, never a guess.
"""

from __future__ import annotations

import difflib
import os
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import Field, dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from .numbers import DEFAULTS, Numbers

FILE = "netwatch.toml"
PREFIX = "NETWATCH_"
NOT_SETTINGS = frozenset({"NETWATCH_SHARED"})
"""Environment variables of ours that are no settings (where the tests find captures)."""
MOST = 10_000_000
"""Above it a number is a slip of the finger; times stay far inside int64 nanoseconds."""


class SettingsError(Exception):
    """One sentence: which setting is wrong, where it stands, and what to do."""


def word(default: str, choices: tuple[str, ...], why: str) -> Any:
    """A dataclass field that takes one of a few words."""
    return field(default=default, metadata={"choices": choices, "why": why})


_SEVERITIES = ("now", "soon", "quality", "tidy", "note")
_WISHES = ("never", "building", "show", "always")


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """Settings that are a word. The key of ``vantage`` is 'from', as the option is called."""

    fail_on: str = word("soon", _SEVERITIES, "alerts from here up give exit code 1")
    phase: str = word("building", ("building", "show"), "what is shown at the top, and what is only a note")
    join: str = word("ask", ("ask", "never", "always"), "whether groups may be joined, which changes the network")
    awake: str = word("yes", ("yes", "no"), "whether the laptop is kept awake while it watches")
    sound: str = word("never", _WISHES, "in which phase the terminal's bell rings for what stops the show")
    notice: str = word("never", _WISHES, "in which phase a notice on the desktop tells of what stops the show")
    on_alert_from: str = word("soon", _SEVERITIES, "alerts from here up are passed to on_alert")
    vantage: str = word("auto", ("auto", "mirror", "ordinary", "wifi"), "where the capture was made")


@dataclass(frozen=True, slots=True)
class Changed:
    """A number that differs from its default."""

    name: str
    value: float
    default: float
    unit: str
    source: str
    origin: str
    """Where the value was set; '' = not known."""

    @property
    def standard(self) -> bool:
        """Whether a published standard stands behind the default."""
        return not self.source.startswith(("common practice", "measured", "derived", "from memory"))

    def __str__(self) -> str:
        text = f"{self.name} = {self.value:g} {self.unit}"
        if self.standard:
            text += f", not the standard's {self.default:g} ({self.source})"
        else:
            text += f" instead of {self.default:g}"
        return text + (f", set by {self.origin}" if self.origin else "")


@dataclass(frozen=True, slots=True)
class Settings:
    """The values in force, and where each one that was set came from."""

    numbers: Numbers = DEFAULTS
    words: Words = Words()
    origins: Mapping[str, str] = field(default_factory=dict)
    on_alert: tuple[str, ...] = ()
    """The command that each alert is passed to; empty = none."""

    def changed(self) -> tuple[Changed, ...]:
        """The numbers that differ from their defaults, in the order of ``Numbers``."""
        return changed(self.numbers.changed(), self.origins)


def changed(differing: Mapping[str, float], origins: Mapping[str, str] | None = None) -> tuple[Changed, ...]:
    """What ``Numbers.changed`` gives (a snapshot's ``settings``), with unit, source and origin."""
    known = origins or {}
    return tuple(
        Changed(name, value, getattr(DEFAULTS, name), facts["unit"], facts["source"], known.get(name, ""))
        for name, value in differing.items() for facts in (NUMBERS[name].metadata,)
    )


NUMBERS: dict[str, Field[Any]] = {f.name: f for f in fields(Numbers)}
WORDS: dict[str, Field[Any]] = {("from" if f.name == "vantage" else f.name): f for f in fields(Words)}
ON_ALERT = "on_alert"
KEYS = (*WORDS, *NUMBERS, ON_ALERT)


def load(
    options: Mapping[str, str] | None = None,
    *,
    config: Path | None = None,
    environment: Mapping[str, str] | None = None,
    here: Path | None = None,
    home: Path | None = None,
) -> Settings:
    """Settings from all layers. ``home`` is the folder of the user's own file. Raises ``SettingsError``."""
    environment = os.environ if environment is None else environment
    numbers: dict[str, float] = {}
    words: dict[str, str] = {}
    origins: dict[str, str] = {}
    on_alert: tuple[str, ...] = ()
    for key, value, origin in _layers(options or {}, config, environment, here or Path(), home):
        if key in WORDS:
            words[WORDS[key].name] = _checked_word(key, value, origin)
        elif key in NUMBERS:
            numbers[key] = _checked_number(key, value, origin)
        elif key == ON_ALERT:
            on_alert = _checked_command(value, origin)
        else:
            raise SettingsError(_unknown(key, origin))
        origins[key] = origin
    made: dict[str, Any] = {**numbers}
    return Settings(replace(DEFAULTS, **made), Words(**words), origins, on_alert)


def split_option(text: str) -> tuple[str, str]:
    """'KEY=VALUE' of --set as a pair. Raises ``SettingsError``."""
    key, equals, value = text.partition("=")
    if not equals or not key.strip():
        raise SettingsError(f"--set {text}: write it as KEY=VALUE, for example --set source_silent_s=5.")
    return key.strip(), value.strip()


def _layers(
    options: Mapping[str, str], config: Path | None, environment: Mapping[str, str], here: Path, home: Path | None
) -> Iterator[tuple[str, Any, str]]:
    """All (key, value, origin), the weakest layer first. Values of options and environment are text."""
    own = (_users_folder(environment) if home is None else home) / FILE
    yield from _read(own, may_lack=True)
    for key, value, origin in _read(here / FILE, may_lack=True):
        if key == ON_ALERT and (here / FILE).resolve() not in {each.resolve() for each in (own, config) if each is not None}:
            raise SettingsError(_not_from_here(origin, own))
        yield key, value, origin
    if config is not None:
        yield from _read(config)
    for name, text in environment.items():
        if name.startswith(PREFIX) and name not in NOT_SETTINGS:
            yield name.removeprefix(PREFIX).lower(), _typed(name.removeprefix(PREFIX).lower(), text), name
    for key, text in options.items():
        yield key, _typed(key, text), "the command line"


def _not_from_here(origin: str, own: Path) -> str:
    """A command is run only if the person wrote it into a file of their own, or named the file."""
    return (
        f"{origin}: {ON_ALERT} runs a program, so it is read only from {own} or from the file named by --config; move it there."
    )


def _read(path: Path, *, may_lack: bool = False) -> Iterable[tuple[str, Any, str]]:
    """The (key, value, origin) of one TOML file; none if it may lack and does."""
    try:
        # Some editors put a byte order mark in front, which is no TOML.
        table = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except UnicodeDecodeError:
        raise SettingsError(f"{path}: this is not text in UTF-8; save it as UTF-8.") from None
    except (ValueError, RecursionError) as error:
        raise SettingsError(_not_toml(path, str(error))) from None
    except OSError as error:
        if may_lack and isinstance(error, (FileNotFoundError, NotADirectoryError)):
            return ()
        reason = (error.strerror or "unknown reason").lower()
        raise SettingsError(f"{path}: these settings can't be read ({reason}); check the name.") from None
    return [(key, value, str(path)) for key, value in table.items()]


def _not_toml(path: Path, error: str) -> str:
    """The parser's complaint as one sentence, with its line in front."""
    place = re.search(r" ?\(at (?:line (\d+), column \d+|end of document)\)", error)
    line = f", line {place[1]}" if place and place[1] else ""
    reason = error[: place.start()] if place else error
    return f"{path}{line}: this is not TOML ({reason[:1].lower()}{reason[1:]}); write each setting as KEY = VALUE."


def _typed(key: str, text: str) -> Any:
    """Text of an option or variable as the kind that its key takes; left as text where that fails."""
    if key not in NUMBERS:
        return text
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text


def _checked_number(key: str, value: Any, origin: str) -> float:
    """The value if it fits its number."""
    unit = NUMBERS[key].metadata["unit"]
    whole = isinstance(NUMBERS[key].default, int)
    if isinstance(value, bool) or not isinstance(value, int if whole else (int, float)):
        wanted = "a whole number" if whole else "a number"
        raise SettingsError(f"{origin}: {key} takes {wanted} ({unit}), not {_shown(value)}.")
    least = 1 if key.startswith("cap_") else 0
    most = 1 if unit == "share" else MOST
    if not least <= value <= most:  # also false for nan
        raise SettingsError(f"{origin}: {key} must be between {least} and {most:,} ({unit}), not {_shown(value)}.")
    return value if whole else float(value)


def _checked_word(key: str, value: Any, origin: str) -> str:
    """The value if it is one of the words that its key takes."""
    choices = WORDS[key].metadata["choices"]
    if value in choices:
        return str(value)
    raise SettingsError(f"{origin}: {key} takes {', '.join(choices[:-1])} or {choices[-1]}, not {_shown(value)}.")


def _checked_command(value: Any, origin: str) -> tuple[str, ...]:
    """A program with its arguments: a list of texts, as TOML alone can hold it."""
    if not isinstance(value, list) or not all(isinstance(each, str) and "\0" not in each for each in value):
        raise SettingsError(
            f'{origin}: {ON_ALERT} takes a list of texts in a settings file, as ["~/bin/tell", "--loud"], not {_shown(value)}.'
        )
    return tuple(value)


def _unknown(key: str, origin: str) -> str:
    near = difflib.get_close_matches(key.lower(), KEYS, n=1)
    advice = f"did you mean '{near[0]}'?" if near else "'netwatch settings' lists them all."
    return f"{origin}: there is no setting {_shown(key)}; {advice}"


def _shown(value: Any) -> str:
    """A value as a person wrote it, short."""
    text = repr(value) if isinstance(value, str) else str(value).lower() if isinstance(value, bool) else str(value)
    return text if len(text) <= 40 else text[:37] + "..."


def _users_folder(environment: Mapping[str, str]) -> Path:
    """The config folder of the person who calls, also behind sudo and pkexec."""
    caller = environment.get("SUDO_UID") or environment.get("PKEXEC_UID")
    if caller and caller.isdecimal() and hasattr(os, "geteuid") and os.geteuid() == 0:
        import pwd

        try:
            return Path(pwd.getpwuid(int(caller)).pw_dir) / ".config" / "netwatch"
        except (KeyError, OverflowError):
            pass
    import platformdirs

    return platformdirs.user_config_path("netwatch", appauthor=False)
