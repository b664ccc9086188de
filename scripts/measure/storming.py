"""A storm on the cable of ``living``: is each packet counted, is it told, and does the screen still answer?"""

from __future__ import annotations

import json
import subprocess
import time
from pathlib import Path

from measure import captures
from measure.living import ENDS, WATCH, cable, recorded, sent
from measure.terminal import ROOT, VIEWS, Terminal, answers

SECONDS = 15
"""s that the storm lasts in which all is counted."""
_STARTED = 5
"""s after which a watch has started, so that it sees the storm begin."""


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
    with cable() as ends, sent(ends, path, 600, None, ordinary=True):
        watch = Terminal(ends.inside(True, *WATCH, *options))
        try:
            watch.until(VIEWS[-1][1])
            watch.read_for(3)
            rx, begin = ends.came(), time.perf_counter()
            told = answers(watch)
            rate = (ends.came() - rx) / (time.perf_counter() - begin)
        finally:
            watch.close()
    print(f"live, ARP at {rate:,.0f}/s: {told}     (to reach: 100 ms)")
