"""The consequence class of every life, as one array: what ranking, guidance and alerts all start from."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from bobstay.settings import Settings, consequence_class
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
    as_written = " ".join(fitting_type.replace("_", " ").lower().split())
    if as_written in settings.consequence.classes:
        return consequence_class(settings, fitting_type)
    return consequence_class(settings, _words().canonical("fitting_type", fitting_type) or fitting_type)


@cache
def _words() -> Vocabulary:
    return load()


def units_of(classes: NDArray[np.int64], settings: Settings) -> NDArray[np.float64]:
    """Return the cost units of each consequence class in `classes`, shape (n,)."""
    return np.array([settings.consequence.units[int(c)] for c in classes], dtype=np.float64)
