"""What the list of commands offers: each key's deed by its name, in plain words."""

from __future__ import annotations

COMMANDS = (
    ("First: the eleven checks and the alerts", "key 1", "view('first')"),
    ("Light: who sends what, who wins", "key 2", "view('light')"),
    ("Boxes: who has which address", "key 3", "view('boxes')"),
    ("Runs out: what ends by itself, and when", "key 4", "view('ends')"),
    ("Evening: what happened when", "key 5", "view('evening')"),
    ("What do you see? From what is seen to what is wrong", "key w", "view('see')"),
    ("Newest alert at 'now'", "key n", "newest"),
    ("Find: show only lines with some words", "key /", "find"),
    ("Copy this page or line as text", "key c", "copy"),
    ("Page for a second screen: its address, and a code to scan", "key o", "second"),
    ("Mark this moment with a word", "key m", "mark"),
    ("Known, leave it: this alert, for today or for the job", "key a", "known"),
    ("Mended: close this alert and watch on", "key x", "mended"),
    ("Change the phase: building or show", "key p", "phase"),
    ("Join universes: says first what it disturbs", "key J", "join"),
    ("Let the picture stand still, or go on", "key space", "still"),
    ("Next moment: an alert or a mark", "key .", "jump(1)"),
    ("Moment before: an alert or a mark", "key ,", "jump(-1)"),
    ("Go to a time of day", "key g", "go"),
    ("Faster", "key +", "hasten(True)"),
    ("Slower", "key -", "hasten(False)"),
    ("Another look: dark, night, sun", "key t", "look"),
    ("Help on this screen", "key ?", "help"),
    ("Quit", "key q", "end"),
)
"""(name, key, action)."""
