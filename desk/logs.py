"""Logging of the commands: warnings by default, every step with ``--verbose``, always on standard error."""

from __future__ import annotations

import logging

_LIBRARIES = ("pdfminer", "pdfplumber", "PIL", "pypdfium2")


def start_logging(verbose: bool) -> None:
    """Send cogledger's log to standard error; other people's libraries stay quiet."""
    root = logging.getLogger("cogledger")
    root.setLevel(logging.DEBUG if verbose else logging.WARNING)
    for handler in list(root.handlers):
        root.removeHandler(handler)
    handler = logging.StreamHandler()
    handler.setFormatter(logging.Formatter("%(levelname)s %(name)s: %(message)s"))
    root.addHandler(handler)
    root.propagate = False
    for name in _LIBRARIES:
        logging.getLogger(name).setLevel(logging.ERROR)
