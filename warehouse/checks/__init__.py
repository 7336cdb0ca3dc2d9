"""Resolved limits of the parts of a build → check results. Every module of checks registers its own."""

from . import chain, cogs, mounting, rings, shifting
from .registry import CHECK_NAMES, CHECKS, Check, Counts, Facts, Outcome, check
from .verdicts import CheckSettings, judge_setup

MODULES = (cogs, rings, shifting, mounting, chain)
"""The modules whose checks are registered; a new one is added here."""

__all__ = ["CHECKS", "CHECK_NAMES", "MODULES", "Check", "CheckSettings", "Counts", "Facts", "Outcome", "check",
           "judge_setup"]  # fmt: skip
