"""Resolved limits of the parts of a build → check results."""
