"""What scripts/bench.py measures with: made captures, ways to read them, a cable to listen on."""
