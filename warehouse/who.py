"""Who is at the keyboard, where nobody says."""

from __future__ import annotations

import getpass


def login_name() -> str:
    """The name that the system knows the user by; "someone" where it knows none."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "someone"
