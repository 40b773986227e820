"""Alerts: what the records say that no ranking shows."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from bobstay.alerts.batches import batches
from bobstay.alerts.findings import clear_after_indication, follow_up, open_indications, orphan_rows, sisters
from bobstay.alerts.identity import moved_with_indication, near_duplicate_ids
from bobstay.alerts.notices import no_notices, notice_alerts, notice_status
from bobstay.alerts.places import boats_and_yards
from bobstay.alerts.seasons import class_seasons, expected_looks
from bobstay.consequences import consequence_classes
from bobstay.tables import ALERTS, checked

if TYPE_CHECKING:
    from bobstay.settings import Settings

SEASON_DAYS = 365

__all__ = ["no_notices", "notice_status", "watch"]


def watch(
    lives: pd.DataFrame,
    looks: pd.DataFrame,
    classes: pd.DataFrame,
    *,
    boats: pd.DataFrame,
    settings: Settings,
    as_of: date,
    orphans: pd.DataFrame | None = None,
    notices: pd.DataFrame | None = None,
    detection: pd.DataFrame | None = None,
    class_draws: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return `tables.ALERTS`; the last season is the year up to the as-of date.

    `orphans`: looks that fall into no part's service, as the lives stage leaves them, where there are any; `notices`
    as in tables.NOTICE_STATUS; `detection` and `class_draws` as estimated: without them tests show what the settings
    say, and boats are taken not to differ.
    """
    known = lives.assign(consequence=consequence_classes(lives, settings))
    known = known.merge(boats[["boat_id", "design"]], on="boat_id", how="left", validate="many_to_one")
    since = pd.Timestamp(as_of - timedelta(days=SEASON_DAYS))
    looked = expected_looks(known, looks, classes, settings, detection=detection)
    spread = boat_spread(class_draws)
    rows = [
        *open_indications(known),
        *sisters(known, looks, since),
        *clear_after_indication(known, looks),
        *follow_up(looks),
        *batches(known, classes),
        *class_seasons(looked, since, spread),
        *boats_and_yards(looked, boats, spread),
        *orphan_rows(orphans),
        *([] if notices is None else notice_alerts(notices)),
        *near_duplicate_ids(known, boats),
        *moved_with_indication(known),
    ]
    frame = pd.DataFrame(rows, columns=list(ALERTS.column_names))
    numbers = ["seen", "expected", "p_value", "p_adjusted"]
    return checked(frame.astype(dict.fromkeys(numbers, "float64")), ALERTS)


def boat_spread(class_draws: pd.DataFrame | None) -> float:
    """Return the variance, over boats, of a boat's own share of what is expected of her; 0 without an estimate.

    Boats differ on ln scale by a normal effect of sd tau, so hazards by exp(shape x effect): lognormal, of variance
    exp((shape tau)^2) - 1 about their mean. The shape is the classes' middle one.
    """
    if class_draws is None or class_draws.empty:
        return 0.0
    best = class_draws[class_draws["draw"] == 0]
    shape, tau = float(np.exp(best["log_shape"].median())), float(best["boat_sd"].median())
    return float(np.expm1((shape * tau) ** 2))
