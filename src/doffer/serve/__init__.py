"""Keeping a mill running: the server, what it sends to open pages, the worker, backups.

`supervisor` runs one `server` per mill folder; `startup` is what happens before a server answers.
"""
