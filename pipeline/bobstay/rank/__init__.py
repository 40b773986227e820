"""Rank every fitting in service by expected loss, on two lists: those with evidence, those nobody has looked at."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay.rank.clear import clear_look_rows
from bobstay.rank.options import methods_offered, methods_used
from bobstay.rank.placing import PLACED_BY, placed
from bobstay.rank.weighing import LIVES_READ, Grounds, weighed
from bobstay.rank.words import DRAWN
from bobstay.tables import CLEAR_LOOKS, PRIORITY, checked

if TYPE_CHECKING:
    from datetime import date

    import pandas as pd

    from bobstay.settings import Settings

__all__ = ["DRAWN", "LIVES_READ", "PLACED_BY", "Grounds", "clear_looks", "methods_offered", "placed", "rank", "weighed"]


def rank(  # what the contract of tables needs, one for one
    lives: pd.DataFrame,
    chances: pd.DataFrame,
    *,
    boats: pd.DataFrame,
    looks: pd.DataFrame,
    settings: Settings,
    as_of: date,
    detection: pd.DataFrame | None = None,
    guidance: pd.DataFrame | None = None,
    notices: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return `tables.PRIORITY`: every life in service once, the first to look at first on its list.

    expected_loss = chance x cost units of the consequence class. Open indications come first; losses that cannot be
    estimated come last on their list, by class and age, and their possible places say so. `detection`, `guidance`
    and `notices` (tables.NOTICE_STATUS): without them tests show what the settings say, and nothing is due.
    """
    offers = methods_offered(methods_used(lives, looks), settings)
    on = Grounds(settings, as_of, offers, boats, detection=detection, guidance=guidance, notices=notices)
    frame = weighed(lives, chances, looks, on)
    frame = frame.join(placed(frame, draw=settings.rank.draw))
    frame["reason"] = [f"{why}{DRAWN}" if lot else why for why, lot in zip(frame["reason"], frame["draw"], strict=True)]
    return checked(frame, PRIORITY)


def clear_looks(
    priority: pd.DataFrame, lives: pd.DataFrame, looks: pd.DataFrame, *, settings: Settings, as_of: date
) -> pd.DataFrame:
    """Return `tables.CLEAR_LOOKS`: the newest clear look of each scope at each part in service."""
    return checked(clear_look_rows(priority, lives, looks, settings, as_of), CLEAR_LOOKS)
