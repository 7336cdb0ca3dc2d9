"""Words of a document → what they mean: limits, part kinds, variants, answers. The words themselves are in *.toml."""

from .analysis import Analysis, Term, analyse, fold, page_languages
from .meanings import LabelHit, Role, find_label_hits, find_role, split_unit
from .words import LANGUAGES, Lexicon, load_lexicon

__all__ = [
    "LANGUAGES",
    "Analysis",
    "LabelHit",
    "Lexicon",
    "Role",
    "Term",
    "analyse",
    "find_label_hits",
    "find_role",
    "fold",
    "load_lexicon",
    "page_languages",
    "split_unit",
]
