"""Help in place: what each view shows, and every word on it that is not everyday English."""

from __future__ import annotations

from netwatch.screens.looks import CANT_SAY, MARKS, WORDS, Look
from netwatch.screens.pages import Page, Part

KEYS = {
    "1 to 5": "the five screens: First, Light, Boxes, Runs out, Evening",
    "w": "What do you see? From what is seen to what is wrong",
    "arrows": "move; also Page up, Page down, Home, End",
    "Enter": "open what the cursor is on",
    "Esc": "one step back",
    "n": "the newest alert at 'now'",
    "/": "show only lines with some words",
    "c": "copy this page or line as text",
    "Ctrl+p": "everything that keys can do, by name",
    "t": "another look: dark, night, sun",
    "?": "this help",
    "q": "quit",
}
ACTING_KEYS = {
    "m": "mark this moment with a word, for the record",
    "a": "known, leave it: the alert here, for today or for this job; it comes back if it gets worse. Again: no longer known",
    "x": "mended: close the alert here; it is told again if it is not",
    "p": "change the phase",
    "space": "let the picture stand still; the watch goes on",
    "o": "the page for a second screen: its address, and a code to scan",
    "J": "join universes; it says what that does and asks before anything is sent. Capitals are kept for what sends.",
}
TIME_KEYS = {
    "space": "play, or stand still; at the end: from the beginning",
    ". and ,": "to the next moment at which an alert began or a mark stands, and to the one before",
    "] and [": "10 s on, 10 s back",
    "+ and -": "play faster, slower",
    "g": "go to a time of day",
}
RANKS = {
    "now": "the show stops or is about to",
    "soon": "it will bite later",
    "quality": "it works, not well",
    "tidy": "put it in order when there is time",
    "note": "it happened; nothing to do",
}
VIEWS = {
    "first": (
        "Checks and alerts",
        "The eleven checks stand in an order in which one falsifies the next: where an upper one is WRONG, doubt those below it.",
        "FINE: looked at, nothing wrong. WRONG: see the alert. NOT YET: not enough heard so far. "
        "NOT FROM HERE: this socket can't show it; the text says where to plug or what to press. "
        "NOT USED HERE: nothing of it was heard.",
        "Below stand the alerts, worst first, each with the first thing to do. What one cause explains stands indented under it. "
        "'known' was accepted by a person. 'quiet': no new sign of it for a while. 'over' is no longer true.",
        "Phase: building while the rig is put up: what is lost is a note until it has run for 5 minutes or the plan expects it. "
        "Show while nothing may be disturbed: only what stops the show stands on top, the rest waits under 'later'.",
        "Mirror port: a switch socket that repeats what passes through the switch. Ordinary port: any other; it shows only "
        "what is sent to everybody and what was asked for. Limited view: without the right to see raw packets.",
        "Dropped: packets that this laptop was too slow to take. With dropped packets, silence and loss prove nothing.",
    ),
    "light": (
        "Who sends what, and who wins",
        "One line for each universe and source. A source that signed off did so properly; a silent one just stopped.",
        "sACN: light in packets as E1.31 describes. Art-Net: numbers are net, sub-net, universe, as on the wire.",
        "light: DMX channels above zero in the newest packet. prio: priority; receivers take the source with the highest. "
        "per s: packets, over 10 s. lost: share of numbers that never came.",
        "Who wins: 'wins' and what decided; 'receiver decides' where two have the same priority: most show the highest level. "
        "'not used' by receivers: lower priority, preview, silent or signed off.",
        "Goes to: group (those who asked), unicast (one box) or broadcast (every box). Enter shows a source, and"
        " from there its levels.",
    ),
    "boxes": (
        "Which box has which address",
        "One line for each box, known by its MAC, the number of its network socket. '+2' means two more addresses.",
        "Names are what the boxes say of themselves. The maker is looked up by the MAC: a hint, no proof.",
        "gives addresses: this box answers DHCP, so it hands out addresses. "
        "address from: the box that gave this one its address. until: when it has to give it back, where that was seen.",
    ),
    "ends": (
        "What ends by itself, and when",
        "address: an address is lent for a time. Its box asks to keep it from half that time on; where "
        "nobody answers, it falls silent.",
        "query: a box that asks who listens to multicast. Each answer keeps universes alive in the switch.",
        "universe: nobody asks, and this switch was seen to stop passing on what nobody asked for. The time is a range where the "
        "switch's memory is not known.",
    ),
    "evening": (
        "What happened when",
        "The line on top is drawn to scale; '|' is the moment that is shown, '^' a mark. Each bar is an alert: "
        "from when it was true "
        "to when it was over, with '>' where it still is.",
        "Below stands all that happened, newest first. Enter leads there: in a capture to that moment, live to its alert.",
    ),
    "see": (
        "What do you see?",
        "Choose the phrase that comes nearest, then name a universe, a sender or a box, or nothing.",
        "A universe is followed from its sender over the switch, this laptop and the node to what lies behind it. Each place is "
        "FINE, WRONG or CAN'T SEE. Where all is fine, the answer says so, and where to look next.",
    ),
    "levels": (
        "The levels of one universe",
        "Each sign is one DMX channel, eight lines of 64: a dot is zero, the bar grows with the level. What changed since "
        "the last "
        "picture is underlined. Arrows move; below stands what each sender says for the channel under the cursor.",
        "Where two senders both count, below stands on which channels they differ and what each of them sends; on a wide "
        "terminal both stand beside each other.",
        "v: what wins, who wins by letter, each sender alone, where senders differ. %: percent, or 0 to 255. "
        "f: list what this channel does from now on.",
    ),
    "page": (
        "One thing by itself",
        "Lines with the cursor lead on: to the cause, the box, the universe, the packet. Esc leads back.",
    ),
}


def help_page(view: str, acting: bool, timed: bool, look: Look) -> Page:
    """Help for a view; ``acting``: there are keys that do something outside the screen; ``timed``: the story can be played."""
    heading, *texts = VIEWS[view]
    parts = [part for text in texts for part in (Part(text, look.text), Part("", look.text))]
    parts.append(Part("Marks", look.faint))
    for severity, meaning in RANKS.items():
        parts.append(Part(f"{WORDS[severity]}: {meaning}", getattr(look, severity), 2, 3, MARKS[severity]))
    parts.append(Part("can't say", look.text, 2, 3, CANT_SAY))
    parts += [Part("", look.text), Part("Keys", look.faint)]
    keys = KEYS | (ACTING_KEYS if acting else {}) | (TIME_KEYS if timed else {})
    parts += [Part(meaning, look.text, 2, 8, key) for key, meaning in keys.items()]
    return Page(((f"Help: {heading}", look.strong),), tuple(parts))
