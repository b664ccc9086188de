"""The verbs of the command line, one module each: ``SUMMARY``, ``EXAMPLES``, ``add(parser)`` and ``run(arguments)``.

A verb imports nothing heavy before ``run``, so that help and usage errors come at once.
"""
