"""Textual widgets that read a snapshot."""

import os

os.environ.setdefault("TEXTUAL_FPS", "120")  # read once, on import: a key just after a picture waits for the next, 17 ms at 60
