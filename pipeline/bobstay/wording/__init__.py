"""All words of pages and papers, a folder of tables a language, and the forms of numbers, days, money and units.

A key is the name of its table and the name in it: `index.answer.title`. A sentence of a stage, kept in English in the
store, is said again in the reader's language by `Wording.again`.
"""

from bobstay.wording.catalogue import LANGUAGES
from bobstay.wording.wording import Wording, wording_of

__all__ = ["LANGUAGES", "Wording", "wording_of"]
