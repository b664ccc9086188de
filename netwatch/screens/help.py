"""Help in place: what each view shows, and every word on it that is not everyday English."""

from __future__ import annotations

from netwatch.screens.looks import CANT_SAY, MARKS, WORDS, Look
from netwatch.screens.pages import Page, Part

KEYS = {
    "1": "checks and alerts",
    "2": "who sends what",
    "3": "which box has which address",
    "arrows": "move; also Page up, Page down, Home, End",
    "Enter": "open what the cursor is on",
    "Esc": "back",
    "t": "another look: dark, night, sun",
    "?": "this help",
    "q": "quit",
}
ACTING_KEYS = {
    "m": "mark this moment with a word, for the record",
    "p": "change the phase",
    "J": "join universes; it says what that does and asks before anything is sent. Capitals are kept for what sends.",
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
        "'known' was accepted by a person. 'over' is no longer true.",
        "Phase: building while the rig is put up; show while nothing may be disturbed.",
        "Mirror port: a switch socket that repeats what passes through the switch. Ordinary port: any other; it shows only "
        "what is sent to everybody and what was asked for. Limited view: without the right to see raw packets.",
        "Dropped: packets that this laptop was too slow to take. With dropped packets, silence and loss prove nothing.",
    ),
    "streams": (
        "Who sends what",
        "One line for each source and universe. A source that signed off did so properly; a silent one just stopped.",
        "sACN: light in packets as E1.31 describes. Art-Net: numbers are net, sub-net, universe, as on the wire.",
        "prio: priority; receivers take the source with the highest. per s: packets in the last second. "
        "lost: share of numbers that never came. light: DMX channels above zero in the newest packet.",
        "Goes to: group (those who asked), unicast (one box) or broadcast (every box).",
    ),
    "hosts": (
        "Which box has which address",
        "One line for each box, known by its MAC, the number of its network socket. '+2' means two more addresses.",
        "Names are what the boxes say of themselves. The maker is looked up by the MAC: a hint, no proof.",
        "gives addresses: this box answers DHCP, so it hands out addresses. "
        "address from: the box that gave this one its address.",
    ),
}


def help_page(view: str, acting: bool, look: Look) -> Page:
    """Help for a view; ``acting`` says whether there are keys that do something outside the screen."""
    heading, *texts = VIEWS[view]
    parts = [part for text in texts for part in (Part(text, look.text), Part("", look.text))]
    parts.append(Part("Marks", look.faint))
    for severity, meaning in RANKS.items():
        parts.append(Part(f"{WORDS[severity]}: {meaning}", getattr(look, severity), 2, 3, MARKS[severity]))
    parts.append(Part("can't say", look.text, 2, 3, CANT_SAY))
    parts += [Part("", look.text), Part("Keys", look.faint)]
    keys = KEYS | ACTING_KEYS if acting else KEYS
    parts += [Part(meaning, look.text, 2, 8, key) for key, meaning in keys.items()]
    return Page(((f"Help: {heading}", look.strong),), tuple(parts))
