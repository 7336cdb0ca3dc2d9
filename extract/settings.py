"""Every tolerance of reading, named. Lengths are shares of the text size unless the name says otherwise."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class ReadSettings:
    """Tolerances and limits of reading; the defaults suit print of 5 to 20 points."""

    most_file_bytes: int = 512 * 1024 * 1024
    """Larger files are refused."""
    most_pages: int = 20_000
    seconds_per_page: float = 60.0
    """OCR of one page is given up after this time."""

    baseline_drift: float = 0.15
    """Letters whose baselines differ by less share a line."""
    word_gap: float = 0.17
    """A wider gap between letters starts a new word."""
    raised_size: float = 0.82
    """A letter smaller than this share of its neighbours and above their baseline is a footnote mark."""
    segment_gap: float = 0.85
    """A wider gap between words of a line starts a new segment."""

    rule_thickness_pt: float = 2.0
    """Filled shapes thinner than this are rules."""
    shortest_rule_pt: float = 6.0
    rule_snap_pt: float = 2.0
    """Rules closer than this are one."""

    scan_dpi: float = 300.0
    least_text_letters: int = 12
    """A page with fewer letters in its text layer and a picture on it is read by OCR."""
    least_picture_pt: float = 60.0
    """A picture that is smaller in width or height holds no table."""


DEFAULT_SETTINGS = ReadSettings()
