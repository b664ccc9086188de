"""Run all tests. Arguments are passed on to pytest.

    python3 scripts/test.py
    python3 scripts/test.py tests/packets -k gzip
"""

from __future__ import annotations

import os
import sys

import environment

if __name__ == "__main__":
    os.chdir(environment.ROOT)
    # One process a core; a file stays in one, so that what its tests share is made once.
    environment.run(["-m", "pytest", "-n", "auto", "--dist", "loadfile", *sys.argv[1:]])
