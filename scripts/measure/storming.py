"""A storm on the cable of ``living``: is each packet counted, is it told, and does the screen still answer?"""

from __future__ import annotations

import json
import random
import subprocess
import sys
import time
from pathlib import Path

from measure import captures
from measure.living import ENDS, WATCH, cable, recorded, sent
from measure.terminal import ROOT, VIEWS, Terminal, tail

KEYS = 300
SECONDS = 15
"""s that the storm lasts in which all is counted."""
_STARTED = 5
"""s after which a watch has started, so that it sees the storm begin."""
_ECHO = """
import os, tty
tty.setraw(0)
os.write(1, b"ready")
while True:
    os.write(1, b"pressed " + os.read(0, 1))
"""
"""The least that can answer a key."""


def storm(folder: Path) -> None:
    """64-octet ARP as fast as tcpreplay makes it: all is counted or told as dropped, the alert comes, keys answer."""
    path = folder / "storm.pcap"
    captures.save(path, ((n * 1_000, captures.arp(7, 100 + n % 200)) for n in range(20_000)))
    _counted(path, *recorded(folder))
    _answers(path, *recorded(folder))


def _counted(path: Path, *options: str) -> None:
    with cable() as ends:
        words = ends.inside(True, *WATCH, "--for", str(_STARTED + SECONDS + _STARTED + ENDS), "--json", *options)
        run = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, cwd=ROOT)
        time.sleep(_STARTED)
        rx, began = ends.came(), time.time()
        with sent(ends, path, SECONDS, None):
            time.sleep(SECONDS)
        came = ends.came() - rx
        document = json.loads(run.communicate()[0])
    told = document["capture"]
    counted = told["packets"] + told["dropped"]
    alerts = [each for each in document["alerts"] if each["code"] == "storm"]
    after = f"told {alerts[0]['opened'] - began:.1f} s after tcpreplay's start" if alerts else "NOT TOLD"
    print(f"live, ARP as fast as it comes: {came / SECONDS:,.0f}/s; {came:,} came, {told['packets']:,} counted and "
          f"{told['dropped']:,} dropped by the kernel ({counted - came:+,}); storm {after}     (to reach: none missing, 1 s)")


def _answers(path: Path, *options: str) -> None:
    """Keys in a watch and, in turns with them, in a program that does nothing else: what both are late is the machine's.

    At uneven times, so that they meet every moment of the watch.
    """
    chance, took, least = random.Random(20_261_127), [], []
    with cable() as ends, sent(ends, path, 600, None, ordinary=True):
        watch, echo = Terminal(ends.inside(True, *WATCH, *options)), Terminal([sys.executable, "-c", _ECHO])
        try:
            watch.until(VIEWS[-1][1])
            echo.until(b"ready")
            watch.read_for(3)
            rx, begin = ends.came(), time.perf_counter()
            for number in range(KEYS):
                key, text = VIEWS[number % len(VIEWS)]
                took.append(watch.press(key.encode(), text))
                watch.read_for(0.1 + 0.1 * chance.random())
                least.append(echo.press(key.encode(), b"pressed " + key.encode()))
                watch.read_for(0.05)
            rate = (ends.came() - rx) / (time.perf_counter() - begin)
        finally:
            watch.close()
            echo.close()
    print(f"live, ARP at {rate:,.0f}/s: key to picture {tail(took)}, {sum(each > 0.1 for each in took)} of {KEYS} above 100 ms; "
          f"a key that a program of six lines answers {tail(least)}     (to reach: 100 ms)")
