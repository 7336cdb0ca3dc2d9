"""Items of lists: where a line or a part of it parts into label and value, with and without a sign between them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from ...schema.limits import LIMITS
from ..labels import LANGUAGES, LabelHit, analyse, find_label_hits
from ..lines import Segment
from ..records import Word
from .columns import reads

_BULLET = re.compile(r"^(?:[•·▪◦‣●○■□►▶➢✓»›>*+–—-]|\(?[a-z0-9]\))$")
_DASHES = frozenset({"–", "—", "-", "=", "→", "=>", "⇒", "..", "…"})
_BARS = frozenset({"|", "·", "•", "¦", "//", "‖"})
_MOST_LABEL_WORDS = 9
_MOST_BARE_WORDS = 12
_LEAST_SENTENCE_WORDS = 7
_LEAST_SCORE = 0.7
_LEAST_BARE_SCORE = 0.85
_SIGN = re.compile(r"^[≤≥<>=~±+(\[]{1,3}$")


@dataclass(frozen=True)
class Item:
    """A label, the limits that it can mean, and the words of its value."""

    label: str
    hits: tuple[LabelHit, ...]
    words: tuple[Word, ...]


@dataclass(frozen=True)
class Asker:
    """How labels are understood: by themselves, or below a group of a list whose words complete them.

    ``kept`` are the limits that a label may mean by itself below a group; ``None`` where any may.
    """

    languages: tuple[str, ...] = LANGUAGES
    groups: tuple[str, ...] = ()
    barred: frozenset[str] = frozenset()

    def hits(self, label: str) -> tuple[LabelHit, ...]:
        """The limits that a label can mean."""
        return _hits(label, self)


@lru_cache(maxsize=20_000)
def _hits(label: str, asker: Asker) -> tuple[LabelHit, ...]:
    if not label or len(label.split()) > _MOST_LABEL_WORDS:
        return ()
    own = tuple(h for h in find_label_hits(label, None, asker.languages) if h.score >= _LEAST_SCORE)
    if not asker.groups:
        return own
    for group in asker.groups:
        found = tuple(h for h in find_label_hits(f"{group} {label}", None, (*asker.languages, *_more(asker)))
                      if h.score >= _LEAST_BARE_SCORE and h.limit not in asker.barred)  # fmt: skip
        if found:
            return found
    return tuple(h for h in own if h.score >= _LEAST_BARE_SCORE and h.needs > 1 and h.limit not in asker.barred)


def _more(asker: Asker) -> tuple[str, ...]:
    return () if "en" in asker.languages else ("en",)


def without_bullet(words: Sequence[Word]) -> list[Word]:
    """Words without the sign that begins an item."""
    words = list(words)
    return words[1:] if len(words) > 1 and _BULLET.match(words[0].text) else words


def has_bullet(segment: Segment) -> bool:
    """Whether a segment begins with the sign of an item."""
    return len(segment.words) > 1 and bool(_BULLET.match(segment.words[0].text))


def parted_items(words: Sequence[Word]) -> list[list[Word]]:
    """Words apart at ``|``, ``;`` and the like; what begins with a number goes with the value before it."""
    pieces: list[list[Word]] = [[]]
    for word in words:
        if word.text in _BARS:
            pieces.append([])
        elif len(word.text) > 1 and word.text.endswith((";", "|")):
            pieces[-1].append(replace(word, text=word.text[:-1]))
            pieces.append([])
        elif word.text == ";":
            pieces.append([])
        else:
            pieces[-1].append(word)
    joined: list[list[Word]] = []
    for piece in pieces:
        if piece and joined and (piece[0].text[:1].isdigit() or _SIGN.match(piece[0].text)):
            joined[-1].extend(piece)
        elif piece:
            joined.append(piece)
    return joined


def find_item(words: Sequence[Word], asker: Asker) -> Item | None:
    """Label and value of one item: at its first sign behind a known label, else where a known label ends."""
    for n, word in enumerate(words):
        if not n and not word.text.endswith(":"):
            continue
        if word.text.endswith((":", "：")) or word.text in _DASHES:
            joint = word.text in _DASHES or word.text in (":", "：")
            label = _text(words[:n] if joint else words[: n + 1])
            hits = asker.hits(label)
            if hits and n + 1 < len(words):
                return Item(label, hits, tuple(words[n + 1 :]))
    return _bare_item(words, asker)


def _text(words: Sequence[Word]) -> str:
    return " ".join(w.text for w in words).rstrip(":：= ").lstrip(",;|·• ")


def _bare_item(words: Sequence[Word], asker: Asker) -> Item | None:
    if len(words) > _MOST_BARE_WORDS or any(w.text.endswith((":", "：", "?")) for w in words):
        return None
    if len(words) >= _LEAST_SENTENCE_WORDS and words[-1].text.endswith("."):
        return None
    number = next((n for n, w in enumerate(words) if n and any(c.isdigit() for c in w.text)), None)
    if number is not None:
        while number > 1 and _SIGN.match(words[number - 1].text):
            number -= 1
        label = _text(words[:number])
        hits = tuple(h for h in asker.hits(label) if h.score >= _LEAST_BARE_SCORE)
        if hits and reads(" ".join(w.text for w in words[number:]), hits, asker.languages):
            return Item(label, hits, tuple(words[number:]))
        return None
    for n in range(1, len(words)):
        label = _text(words[:n])
        hits = tuple(h for h in asker.hits(label) if h.score >= _LEAST_BARE_SCORE and LIMITS[h.limit].choices)
        if hits and hits[0].limit and reads(" ".join(w.text for w in words[n:]), hits, asker.languages):
            return Item(label, hits, tuple(words[n:]))
    return None


def part_of_list(segment: Segment, languages: tuple[str, ...]) -> str | None:
    """The label of a line that is an item of a list by itself; ``None`` where it is none."""
    asker = Asker(languages)
    for piece in parted_items(without_bullet(segment.words)):
        found = find_item(piece, asker)
        if found:
            return found.label
    hits = asker.hits(segment.text.rstrip(":"))
    return segment.text if hits and hits[0].score >= _LEAST_BARE_SCORE else None


def takes_list_place(segment: Segment, languages: tuple[str, ...]) -> bool:
    """Whether a line can stand right under the name of a part: an item, a version's name, or a group of items."""
    if part_of_list(segment, languages) is not None:
        return True
    return is_group_name(segment.text, languages)


@lru_cache(maxsize=5_000)
def is_group_name(text: str, languages: tuple[str, ...]) -> bool:
    """Whether words can stand over items that they complete: four known ones at most, and no number."""
    bare = text.strip(" :–-=")
    if not bare or len(bare.split()) > 4 or any(c.isdigit() for c in bare):
        return False
    terms = analyse(bare, languages).terms
    known = [t for t in terms if t.names("concept") or t.names("part")]
    return bool(known) and all(t.names("concept") or t.names("part") or t.names("language") for t in terms)


_COMPLETED = ({"ring", "front", "crank"}, "chainring"), ({"cog", "cassette", "rear"}, "sprocket")


def asker_below(group: str, barred: frozenset[str], languages: tuple[str, ...]) -> Asker:
    """How labels below the words of a group are understood."""
    analysis = analyse(group, languages)
    names = analysis.names("concept") | analysis.names("part")
    words = [group.strip(" :–-=")]
    for concepts, word in _COMPLETED:
        if names & concepts or (word == "chainring" and names & {"chainring", "crankset"}):
            words.append(f"{words[0]} {word}")
    return Asker(languages, tuple(words), barred)
