"""Changes to captures, journals and plans that keep their outer form; now and then any byte changes.

``octets`` = libFuzzer's own change of a string of bytes: (data, most) -> data.
"""

from __future__ import annotations

import io
import json
import sqlite3
import struct
import zipfile
from collections.abc import Callable, Sequence
from contextlib import closing
from random import Random
from typing import Any

Octets = Callable[[bytes, int], bytes]
PCAP, PCAPNG = b"\x4d\x3c\xb2\xa1", b"\x0a\x0d\x0d\x0a"
MOST_FRAME = 2_000
ODD: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 255, 65_535, 1 << 31, (1 << 63) - 1, 1 << 63, 1 << 70, -(1 << 63), 0.5, 1e308, -1e308, "",
    "x" * 300, "[/]", "\x1b[2J", "\u202e", "\ud800", "<script>", "10.0.0.5/8", "02:00:00:00:00:01", "now", [], {}, [[]],
    [1, "a"], {"": {}},
)  # fmt: skip
"""What stands where something else was meant."""


def capture(data: bytes, most: int, chance: Random, octets: Octets) -> bytes:
    """A pcap file as we write it, or pcapng; any other is changed as it comes."""
    if chance.random() < 0.05:
        return octets(data, most)
    changed = None
    if data[:4] == PCAP:
        changed = _pcap(data, chance, octets)
    elif data[:4] == PCAPNG:
        changed = _pcapng(data, chance, octets)
    return changed if changed is not None and len(changed) <= most else octets(data, most)


# ---- pcap ----


def _pcap(data: bytes, chance: Random, octets: Octets) -> bytes | None:
    rows, at = [], 24
    while at + 16 <= len(data):
        second, ns, held, wire = struct.unpack_from("<IIII", data, at)
        rows.append([second * 1_000_000_000 + ns, wire, data[at + 16 : at + 16 + held]])
        at += 16 + held
    if not rows:
        return None
    head = data[:24]
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        chance.choice(_ROWS)(rows, chance, octets)
    if chance.random() < 0.03:
        head = head[:20] + struct.pack("<I", chance.choice((0, 1, 101, 105, 108, 113, 228, 229, 276)))
    out = [head]
    for time, wire, frame in rows:
        second, ns = divmod(max(0, time), 1_000_000_000)
        out.append(struct.pack("<IIII", second & 0xFFFFFFFF, ns, len(frame), wire & 0xFFFFFFFF) + frame)
    return b"".join(out)


def _octets(rows: list[Any], chance: Random, octets: Octets) -> None:
    row = chance.choice(rows)
    row[2] = octets(row[2], MOST_FRAME)
    row[1] = len(row[2]) + chance.choice((0,) * 9 + (1, 500))


def _one_octet(rows: list[Any], chance: Random, octets: Octets) -> None:
    row = chance.choice(rows)
    if row[2]:
        at = chance.randrange(min(len(row[2]), chance.choice((50, 180, 2_000))))
        value = chance.choice((0, 1, 255, row[2][at] ^ 1, row[2][at] ^ 128, chance.randrange(256)))
        row[2] = row[2][:at] + bytes([value]) + row[2][at + 1 :]


def _part_of_other(rows: list[Any], chance: Random, octets: Octets) -> None:
    row, other = chance.choice(rows), chance.choice(rows)
    at = chance.randrange(min(len(row[2]), len(other[2])) + 1)
    row[2] = row[2][:at] + other[2][at:] if chance.random() < 0.5 else other[2][:at] + row[2][at:]
    row[1] = len(row[2])


def _again(rows: list[Any], chance: Random, octets: Octets) -> None:
    at, step = chance.randrange(len(rows)), chance.choice((0, 1, 25_000_000, 250_000_000, 1_000_000_000, 10_000_000_000))
    for i in range(chance.choice((1, 3, 12))):
        rows.insert(at + 1, [rows[at][0] + (i + 1) * step, *rows[at][1:]])


def _moved(rows: list[Any], chance: Random, octets: Octets) -> None:
    low, high = sorted((chance.randrange(len(rows)), chance.randrange(len(rows))))
    shift = chance.choice((1, 250_000_000, 3_000_000_000, 300_000_000_000, 86_400_000_000_000, 1 << 62)) * chance.choice((1, -1))
    for row in rows[low : chance.choice((high, low + 1, len(rows)))]:
        row[0] += shift


def _swapped(rows: list[Any], chance: Random, octets: Octets) -> None:
    one, other = chance.randrange(len(rows)), chance.randrange(len(rows))
    rows[one], rows[other] = rows[other], rows[one]


def _gone(rows: list[Any], chance: Random, octets: Octets) -> None:
    if len(rows) > 1:
        low = chance.randrange(len(rows))
        del rows[low : low + chance.choice((1, 1, len(rows) // 2))]
        rows[:] = rows or [[0, 60, bytes(60)]]


def _cut(rows: list[Any], chance: Random, octets: Octets) -> None:
    row = chance.choice(rows)
    row[2] = row[2][: chance.randrange(len(row[2]) + 1)]
    row[1] = chance.choice((row[1], len(row[2])))


_ROWS = (_octets, _one_octet, _one_octet, _one_octet, _part_of_other, _again, _moved, _swapped, _gone, _cut)


# ---- pcapng ----


def _pcapng(data: bytes, chance: Random, octets: Octets) -> bytes | None:
    order = {b"\x4d\x3c\x2b\x1a": "<", b"\x1a\x2b\x3c\x4d": ">"}.get(data[8:12])
    blocks, at = [], 0
    while order and at + 12 <= len(data):
        kind, total = struct.unpack_from(f"{order}II", data, at)
        if total < 12 or at + total > len(data):
            break
        blocks.append((kind, data[at + 8 : at + total - 4]))
        at += total
    if order is None or not blocks:
        return None
    place = chance.randrange(len(blocks))
    kind, body = blocks[place]
    what = chance.random()
    if what < 0.1:
        del blocks[place]
    elif what < 0.2:
        blocks.insert(chance.randrange(len(blocks) + 1), blocks[place])
    elif what < 0.25:
        blocks[place] = (chance.choice((1, 2, 3, 5, 6, 0x0A0D0D0A, 99)), body)
    else:
        blocks[place] = (kind, _facts(body, order, chance) or octets(body, len(body) + 64))
    return b"".join(_block(order, *block) for block in blocks)


def _block(order: str, kind: int, body: bytes) -> bytes:
    body += bytes(-len(body) % 4)
    return struct.pack(f"{order}II", kind, len(body) + 12) + body + struct.pack(f"{order}I", len(body) + 12)


def _facts(body: bytes, order: str, chance: Random) -> bytes | None:
    """Our own comments hold JSON: a value in it changes."""
    begin = body.find(b'{"netwatch-')
    if begin < 4 or chance.random() < 0.2:
        return None
    length = struct.unpack_from(f"{order}H", body, begin - 2)[0]
    try:
        told = json.loads(body[begin : begin + length])
    except ValueError:
        return None
    fresh = json.dumps(one_value(told, chance)).encode()[:60_000]
    behind = body[begin + length + -length % 4 :]
    return body[: begin - 2] + struct.pack(f"{order}H", len(fresh)) + fresh + bytes(-len(fresh) % 4) + behind


def one_value(told: Any, chance: Random) -> Any:
    """A value somewhere in JSON becomes another one, moves, or goes."""
    inside = list(told) if isinstance(told, dict) else list(range(len(told))) if isinstance(told, list) else []
    if not inside or chance.random() < 0.15:
        return chance.choice(ODD)
    key = chance.choice(inside)
    fresh = told.copy()
    what = chance.random()
    if what < 0.08:
        del fresh[key]
    elif what < 0.2:
        fresh[key] = told[chance.choice(inside)]
    else:
        fresh[key] = one_value(told[key], chance)
    return fresh


# ---- journals ----


def journal(data: bytes, most: int, chance: Random, octets: Octets) -> bytes:
    """A value in one row of a database changes."""
    if chance.random() < 0.1:
        return octets(data, most)
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as database:
        try:
            database.deserialize(data)
            for _ in range(chance.choice((1, 1, 3))):
                _cell(database, chance)
            changed = database.serialize()
        except (sqlite3.Error, ValueError, OverflowError, UnicodeError):
            return octets(data, most)
    return changed if len(changed) <= most else octets(data, most)


def _cell(database: sqlite3.Connection, chance: Random) -> None:
    tables = [name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    if not tables:  # bytes that SQLite takes for an empty database
        return
    table = chance.choice(tables)
    columns = [(row[1], row[5]) for row in database.execute(f"PRAGMA table_info({table})")]
    keys = [name for name, key in columns if key] or [columns[0][0]]
    rows = database.execute(f"SELECT * FROM {table}").fetchall()
    if not rows:
        return
    row = dict(zip([name for name, _ in columns], chance.choice(rows), strict=True))
    name = chance.choice([*row, *[name for name in row if isinstance(row[name], str) and row[name][:1] in "[{"] * 5])
    where = " AND ".join(f"{key} IS ?" for key in keys)
    given = (_value(row[name], chance), *(row[key] for key in keys))
    database.execute(f"UPDATE OR REPLACE {table} SET {name} = ? WHERE {where}", given)


def _value(value: Any, chance: Random) -> Any:
    if isinstance(value, str) and value[:1] in ("{", "["):
        try:
            return json.dumps(one_value(json.loads(value), chance))
        except ValueError:
            pass
    if isinstance(value, int) and chance.random() < 0.7:
        return chance.choice((-1, 0, 1, value + 1, -value, (1 << 63) - 1, -(1 << 63), 1 << 31))
    odd = chance.choice(ODD)
    return json.dumps(odd) if isinstance(odd, list | dict) else odd


# ---- plans ----


def plan(data: bytes, most: int, chance: Random, octets: Octets) -> bytes:
    """Lines and cells move and change; in a workbook one of its files does."""
    if data[:4] == b"PK\x03\x04":
        changed = _workbook(data, chance, octets)
        return changed if changed is not None and len(changed) <= most else data
    if chance.random() < 0.3:
        return octets(data, most)
    return _lines(data, chance)[:most]


def _workbook(data: bytes, chance: Random, octets: Octets) -> bytes | None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            files = {name: packed.read(name) for name in packed.namelist()}
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError, RuntimeError, EOFError):
        return None
    if not files:
        return None
    name = chance.choice([*files, *[each for each in files if "sheet" in each or "shared" in each] * 3])
    files[name] = _tags(files[name], chance) if chance.random() < 0.7 else octets(files[name], len(files[name]) + 64)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for each, content in files.items():
            packed.writestr(each, content)
    return out.getvalue()


def _tags(content: bytes, chance: Random) -> bytes:
    """XML, changed piece by piece."""
    pieces = content.split(b"<")
    at, other = chance.randrange(len(pieces)), chance.randrange(len(pieces))
    what = chance.random()
    if what < 0.25:
        del pieces[at]
    elif what < 0.5:
        pieces.insert(other, pieces[at])
    elif what < 0.75:
        pieces[at], pieces[other] = pieces[other], pieces[at]
    else:
        words = pieces[at].split(b'"')
        words[chance.randrange(len(words))] = chance.choice(WORDS)
        pieces[at] = b'"'.join(words)
    return b"<".join(pieces)


WORDS: Sequence[bytes] = (
    b"", b"0", b"-1", b"1", b"63999", b"64000", b"32767", b"32768", b"99999999999999999999", b"1e999", b"nan", b"inf",
    b"10.0.0.5", b"10.0.0.5/8", b"10.0.0.0/31", b"0.0.0.0/0", b"255.255.255.255", b"224.0.0.1", b"127.0.0.1",
    b"1-8", b"8-1", b"1-99999999", b"a1-a9", b"a0.0.1", b"127.15.15", b"sACN 1", b"\xff", b"\x00", b"\x1b[2J", b"\xe2\x80\xae",
    b"=1+1", b"<script>", b"{{x}}", b"2026-11-28T17:00:00", b"0001-01-01T00:00:00Z", b"9999-12-31T23:59:59",
    b"[", b"[[", b"]", b'"""', b"\\u0000", b"A1:XFD1048576", b"#REF!",
)  # fmt: skip


def _lines(data: bytes, chance: Random) -> bytes:
    lines = data.split(b"\n")
    at, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    what = chance.random()
    if what < 0.1:
        del lines[at]
    elif what < 0.25:
        lines.insert(other, lines[at])
    elif what < 0.35:
        lines[at], lines[other] = lines[other], lines[at]
    elif what < 0.4:
        lines = lines * 2
    else:
        mark = chance.choice((b",", b";", b"\t", b'"', b" = ", b".", b"/", b"-", b":"))
        words = lines[at].split(mark)
        words[chance.randrange(len(words))] = chance.choice((chance.choice(WORDS), chance.choice(lines[other].split(mark))))
        lines[at] = mark.join(words)
    return b"\n".join(lines)


MUTATORS = {"capture": capture, "frames": capture, "fold": capture, "journal": journal, "plan": plan}
"""By target."""
