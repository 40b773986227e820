"""Words people write for fittings, materials, methods, results and the other choices, in several languages.

A word is taken for a canonical one only where it surely says the same; all else is proposed, and never applied.
"""

from bobstay.vocabulary.lists import CHOICES, OPEN_LISTS, WORD_LISTS, word_list
from bobstay.vocabulary.normal import normalised
from bobstay.vocabulary.reading import load
from bobstay.vocabulary.record import LANGUAGES, Proposal, Synonym
from bobstay.vocabulary.vocabulary import Vocabulary

__all__ = [
    "CHOICES",
    "LANGUAGES",
    "OPEN_LISTS",
    "WORD_LISTS",
    "Proposal",
    "Synonym",
    "Vocabulary",
    "load",
    "normalised",
    "word_list",
]
