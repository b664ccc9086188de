"""What the replay of a file costs: side by side with others, mixed, over an hour, with many universes; starts, and the curve."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path

from measure import captures, readers
from measure.timing import best, quickest
from netwatch.numbers import DEFAULTS
from netwatch.story.play import Player

ROOT = Path(__file__).resolve().parents[2]
HOUR_S, HOUR_FRAMES = 3_600, 10 * captures.CYCLE


def replay(folder: Path) -> None:
    """64 full universes at 44 Hz: against dpkt and scapy on the same bytes, and against what the machine can do."""
    large, small = folder / "large.pcap", folder / "small.pcap"
    packets = captures.save_light(large, 64, 60 * 44)
    captures.save_light(small, 4, 900 * 44)
    mine, dpkt, scapy, little = best(
        lambda: readers.ours(large), lambda: readers.with_dpkt(large), lambda: readers.with_scapy(large),
        lambda: readers.ours(small),
    )  # fmt: skip
    print("replay, 64 universes of 512 slots at 44 Hz, one process, all rules on")
    print(f"  {mine / scapy:6.0f} times scapy   {mine / dpkt:5.1f} times dpkt     (to reach: 290, 12)")
    print(f"  netwatch {mine:10,.0f} packets/s   dpkt {dpkt:10,.0f}   scapy {scapy:8,.0f}")
    print(f"replay, 4 universes: {little / (4 * 44):,.0f} times real time     (to reach: 2,000)")
    _limit(large, packets, mine)


def _limit(path: Path, packets: int, mine: float) -> None:
    """The same file by C alone, and each of its octets looked at once."""
    if readers.has_libpcap():
        [library] = best(lambda: _packets(readers.with_libpcap(path), packets))
        print(f"  limit: libpcap alone reads and writes on {library:,.0f} packets/s, {library / mine:.1f} times as many")
    [octets] = best(lambda: readers.bytes_alone(path))
    taken = mine * path.stat().st_size / packets
    print(f"  limit: each octet looked at once, {octets / 1e9:.1f} GB/s; netwatch takes {taken / 1e9:.2f}, {taken / octets:.0%}")


def _packets(done: None, packets: int) -> int:
    return packets


def mixed(folder: Path) -> None:
    """Light, ARP, office traffic, 2 % records, alternating lengths, 1 % reordered."""
    path = folder / "mixed.pcap"
    captures.save(path, captures.mixed(60))
    mine, dpkt = best(lambda: readers.ours(path), lambda: readers.with_dpkt(path))
    print(f"replay, mixed: {mine / dpkt:.1f} times dpkt   {mine:,.0f} packets/s   dpkt {dpkt:,.0f}     (to reach: 7, or 600,000)")


def rules(folder: Path) -> None:
    """What all rules together cost of a replay."""
    clean, fought, mix = folder / "clean.pcap", folder / "fought.pcap", folder / "mix.pcap"
    captures.save_light(clean, 64, 60 * 44)
    captures.save_light(fought, 64, 60 * 44, sources=2)
    captures.save(mix, captures.mixed(60))
    shares = ((name, min(readers.rules_share(path) for _ in range(3)))
              for name, path in (("clean", clean), ("each universe fought over by two", fought), ("mixed", mix)))
    print("rules, share of replay: " + ", ".join(f"{name} {share:.0%}" for name, share in shares) + "     (to reach: a third)")


# ---- long and wide ----


def hour(folder: Path) -> None:
    """An hour of 64 universes: a file of 58 s read again and again; in a process of its own, for its memory."""
    path = folder / "hour.pcap"
    captures.save_light(path, 64, HOUR_FRAMES)
    said = _alone(path, round(HOUR_S * 44 / HOUR_FRAMES), HOUR_FRAMES)
    print(f"replay, {said['seconds'] / 60:.0f} min of 64 universes: {said['packets']:,} packets in {said['cpu']:.1f} s, memory "
          f"{said['early']:.0f} MB early, {said['most']:.0f} MB at most     (to reach: 15 s, 250 MB and flat)")


def many(folder: Path) -> None:
    """4,000 universes at 44 Hz."""
    path = folder / "many.pcap"
    captures.save_light(path, 4_000, captures.CYCLE)
    said = _alone(path, 4, captures.CYCLE)
    print(f"replay, 4,000 universes at 44 Hz: {said['seconds'] / said['cpu']:.1f} times real time, "
          f"{said['packets'] / said['cpu']:,.0f} packets/s, memory {said['most']:.0f} MB at most     (to reach: 4 times)")
    path.unlink()


def growth(folder: Path) -> None:
    """Cost of a packet over the number of universes, of hosts, and the length."""
    path = folder / "curve.pcap"
    for universes in (1, 4, 16, 64, 256, 1_024, 4_000):
        frames = max(captures.CYCLE, 200_000 // universes // captures.CYCLE * captures.CYCLE)
        captures.save_light(path, universes, frames)
        [rate] = best(lambda: readers.ours(path), rounds=3)
        print(f"growth: {universes:5} universes   {1e6 / rate:5.2f} us a packet")
    for boxes in (16, 64, 256, 1_024, 4_000):
        told = [f"growth: {boxes:5} hosts      "]
        for partners, name in ((4, "each asks for four others"), (None, "each asks for all others in turn")):
            captures.save(path, captures.hosts(boxes, 60, partners))
            [rate] = best(lambda: readers.ours(path), rounds=3)
            told.append(f"{1e6 / rate:5.2f} us a packet, {name}")
        print("   ".join(told))
    captures.save_light(path, 64, captures.CYCLE)
    for times in (1, 10, 100):
        said = _alone(path, times, captures.CYCLE)
        print(f"growth: {said['seconds']:5.0f} s           {1e6 * said['cpu'] / said['packets']:5.2f} us a packet")


def _alone(path: Path, times: int, frames: int) -> dict[str, float]:
    """Read a file of light so many times in a process of its own."""
    env = {"PYTHONPATH": f"{ROOT}:{ROOT / 'scripts'}"}
    words = [sys.executable, "-m", "measure.replaying", str(path), str(times), str(frames)]
    run = subprocess.run(words, capture_output=True, text=True, check=True, env=env)
    told: dict[str, float] = json.loads(run.stdout)
    return told


def _over(path: Path, times: int, frames: int) -> dict[str, float]:
    """CPU seconds, and the most memory so far in MB after a tenth and at the end."""
    player, early, seconds = Player(DEFAULTS), 0.0, frames / 44
    begin = time.process_time()
    for item in readers.again(path, times, seconds):
        player.feed(item)
        if not early and int(item.time[-1]) / 1e9 - captures.START > seconds * times / 10:
            early = _memory()
    player.finish()
    cpu = time.process_time() - begin
    return {"cpu": cpu, "packets": player.network.packets, "seconds": seconds * times, "early": early, "most": _memory()}


def _memory() -> float:
    """The most so far, MB; not from getrusage, which takes over what the process that started this one had."""
    status = Path("/proc/self/status")
    if not status.exists():
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1_024
    return int(status.read_text().partition("VmHWM:")[2].split()[0]) / 1_024


# ---- starts ----


def start(folder: Path) -> None:
    """From the command to its end, its modules compiled by an earlier start, as they are once it is installed."""
    path = folder / "evening.pcap"
    env = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    env["PYTHONPYCACHEPREFIX"] = str(folder / "compiled")
    captures.save(path, captures.few(2, 100))
    tool = [sys.executable, "-m", "netwatch"]
    shown = quickest(lambda: subprocess.run([*tool, "--help"], cwd=ROOT, check=True, capture_output=True, env=env))
    replay = [*tool, "replay", "--json", str(path)]
    told = quickest(lambda: subprocess.run(replay, cwd=ROOT, check=True, capture_output=True, env=env))
    bare = quickest(lambda: subprocess.run([sys.executable, "-c", "pass"], check=True))
    print(f"start: --help {shown:.2f} s, replay --json of a small file {told:.2f} s, Python alone {bare:.2f} s"
          "     (to reach: 0.15, 0.5)")


if __name__ == "__main__":
    print(json.dumps(_over(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))))
