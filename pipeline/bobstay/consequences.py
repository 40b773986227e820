"""The consequence class of every life, as one array: what ranking, guidance and alerts all start from."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from bobstay.settings import Settings, consequence_class

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray


def consequence_classes(lives: pd.DataFrame, settings: Settings) -> NDArray[np.int64]:
    """Return the class (1..5) of each row of `lives`, shape (n,): as stated in its row, else its type's."""
    by_type = {kind: consequence_class(settings, str(kind)) for kind in lives["fitting_type"].unique()}
    stated = lives["consequence"].astype("float64")
    filled = stated.fillna(lives["fitting_type"].map(by_type).astype("float64"))
    return np.asarray(filled, dtype=np.int64)


def units_of(classes: NDArray[np.int64], settings: Settings) -> NDArray[np.float64]:
    """Return the cost units of each consequence class in `classes`, shape (n,)."""
    return np.array([settings.consequence.units[int(c)] for c in classes], dtype=np.float64)
