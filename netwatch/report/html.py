"""One self-contained HTML page from a template: autoescaped, no script, nothing fetched, prints on A4, dark in a dark browser."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from netwatch.words import report as said
from netwatch.words.phrases import plain

SIGN = '<meta name="generator" content="netwatch">'
"""Stands in each page, so that a page of ours is known again."""


def render(template: str, **context: Any) -> str:
    """A page. Every value is escaped; a name that is missing is an error of ours."""
    style, hash_ = _style("glance.css" if template == "glance.html" else "style.css")
    policy = f"default-src 'none'; style-src '{hash_}'; base-uri 'none'; form-action 'none'"
    return _environment().get_template(template).render(
        **context, said=said, style=style, policy=policy, sign=Markup(SIGN)
    )  # fmt: skip


@cache
def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("netwatch.report"), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    made.filters["plain"] = plain
    made.globals["zip"] = zip
    return made


@cache
def _style(name: str) -> tuple[Markup, str]:
    """The style sheet and its hash, by which alone the browser lets it in (CSP Level 3, hash-source)."""
    text = files("netwatch.report").joinpath("templates", name).read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
    return Markup(text), f"sha256-{digest}"
