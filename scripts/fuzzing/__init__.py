"""How the fuzzer changes what it has: it knows how captures, journals and plans are built, so that it gets past their doors."""
