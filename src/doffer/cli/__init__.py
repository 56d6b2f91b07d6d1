"""The `doffer` command: one file per verb, each with `add` (its words) and `run` (its act).

A verb imports what it needs inside `run`, so that `doffer --help` answers at once.
"""
