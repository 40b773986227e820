"""The consequence class of every life, as one array: what ranking, guidance and alerts all start from."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from bobstay.settings import Settings, consequence_class, plain_word
from bobstay.vocabulary import Vocabulary, load

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray


def consequence_classes(lives: pd.DataFrame, settings: Settings) -> NDArray[np.int64]:
    """Return the class (1..5) of each row of `lives`, shape (n,): as stated in its row, else its type's."""
    by_type = {kind: class_of(str(kind), settings) for kind in lives["fitting_type"].unique()}
    stated = lives["consequence"].astype("float64")
    filled = stated.fillna(lives["fitting_type"].map(by_type).astype("float64"))
    return np.asarray(filled, dtype=np.int64)


def class_of(fitting_type: str, settings: Settings) -> int:
    """Return the class of a fitting type, in any language the vocabulary knows; the settings' own spelling wins."""
    as_written = plain_word(fitting_type)
    if as_written in settings.consequence.classes:
        return consequence_class(settings, fitting_type)
    return consequence_class(settings, _words().canonical("fitting_type", fitting_type) or fitting_type)


@cache
def _words() -> Vocabulary:
    return load()


def class_reasons(lives: pd.DataFrame, settings: Settings) -> list[str | None]:
    """Return for each row of `lives` why its class is not the usual one of its type; None where it is the usual one.

    The usual one is the default's. A class that was moved without a written reason is said to have been.
    """
    kinds = {kind: _of_type(str(kind), settings) for kind in lives["fitting_type"].unique()}
    stated = lives["consequence"].astype("float64")
    rows = zip(lives["fitting_type"], stated, lives["consequence_reason"], strict=True)
    return [_reason(kinds[kind], row, why) for kind, row, why in rows]


def _of_type(kind: str, settings: Settings) -> tuple[int, int, str | None]:
    """Return the class of a type by default and by the settings, and the reason the settings give."""
    word = plain_word(kind)
    known = _words().canonical("fitting_type", kind) or word
    reasons = settings.consequence.reasons
    return class_of(kind, Settings()), class_of(kind, settings), reasons.get(word, reasons.get(known))


def _reason(kind: tuple[int, int, str | None], stated: float, why: object) -> str | None:
    usual, by_settings, reason = kind
    row = None if np.isnan(stated) else int(stated)
    if row is not None and row != by_settings:
        return f"class {row} and not {by_settings}: {_written(why)}"
    if row is None and by_settings != usual:
        return f"class {by_settings} and not {usual} by the settings: {_written(reason)}"
    return None


def _written(why: object) -> str:
    text = why.strip() if isinstance(why, str) else ""
    return text or "no reason is written down"


def units_of(classes: NDArray[np.int64], settings: Settings) -> NDArray[np.float64]:
    """Return the cost units of each consequence class in `classes`, shape (n,)."""
    return np.array([settings.consequence.units[int(c)] for c in classes], dtype=np.float64)
