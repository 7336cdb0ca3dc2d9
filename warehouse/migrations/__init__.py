"""Numbered steps from an old store to the present one."""
