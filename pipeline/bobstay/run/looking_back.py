"""The back-test: what was known on earlier days, and what the season after each of them found."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from bobstay import store
from bobstay.run.job import DONE, TOO_LITTLE_EVIDENCE, Job
from bobstay.run.stages import DRAWS_OF_A_CHECK
from bobstay.tables import (
    BACKTEST,
    BACKTEST_METHODS,
    BACKTEST_THIRDS,
    BACKTEST_VERDICT,
)

if TYPE_CHECKING:
    import pandas as pd

    from bobstay.backtest import Origin, Season


def backtest_stage(job: Job) -> int:
    """Look back from earlier years; return 4 where no year can be scored."""
    from bobstay import backtest

    how = job.settings.backtest
    first = store.value(job.con, "SELECT min(inspected_on_earliest) FROM inspections")
    days = backtest.origins(job.as_of, first_look=first or job.as_of, count=how.origins)
    looks = job.table("life_looks")
    seasons = []
    for day in days:
        job.say(f"looking back from {day.isoformat()}")
        seasons.append(_season(job, day, looks))
    made = backtest.table([backtest.score(season) for season in seasons])
    cover, seed = job.settings.estimate.interval, job.settings.estimate.seed
    store.write(job.con, BACKTEST, made)
    store.write(job.con, BACKTEST_VERDICT, backtest.verdicts(seasons, cover=cover, seed=seed))
    store.write(job.con, BACKTEST_METHODS, backtest.by_method(seasons, cover=cover))
    store.write(job.con, BACKTEST_THIRDS, backtest.thirds(seasons, cover=cover))
    return DONE if made["concordance"].notna().any() else TOO_LITTLE_EVIDENCE


def backtest_if_small(job: Job) -> None:
    """Do the back-test with the whole job, unless the records are so many that it would be the most of the work."""
    looks = store.value(job.con, "SELECT count(*) FROM life_looks")
    if looks <= job.settings.backtest.most_looks:
        backtest_stage(job)
    elif job.settings.backtest.origins:
        job.say("the back-test is left to `bobstay backtest`: there are many looks")


def _season(job: Job, day: date, looks: pd.DataFrame) -> Season:
    from bobstay import backtest

    if not backtest.is_worth_scoring(day, looks):
        return backtest.season_not_scored(day, looks)
    return backtest.season_after(_known_on(job, day), looks, every_years=job.settings.backtest.every_years)


def _known_on(job: Job, day: date) -> Origin:
    """Return what was known on `day`; the lives of that day are worked out aside and not kept."""
    from bobstay.backtest import Origin
    from bobstay.estimate import estimate
    from bobstay.lives import lives_then

    lives, looks = lives_then(job.con, as_of=day, settings=job.settings)
    how = replace(job.settings.estimate, draws=min(job.settings.estimate.draws, DRAWS_OF_A_CHECK))
    lean = replace(job.settings, horizon_months=12, estimate=how)
    plain = replace(lean, estimate=replace(how, detection="perfect", pooling="none", boat_effect=False))
    boats = job.given("boats")
    made, without = (estimate(lives, looks, boats, as_of=day, settings=by) for by in (lean, plain))
    return Origin(day, lives, looks, made.chances, made.detection, without.chances)
