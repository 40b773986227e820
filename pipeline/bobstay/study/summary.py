"""What many trials of one generator and fleet size came to, and the table of it in Markdown."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from bobstay.joint.fleet import Floats
    from bobstay.study.trial import Trial

BEGIN, END = "<!-- study: begin -->", "<!-- study: end -->"


@dataclass(frozen=True, slots=True)
class Summary:
    """Means over fleets; every `_se` is the standard error over fleets."""

    generator: str
    boats: int
    fleets: int
    rmse: float
    rmse_perfect: float
    rmse_plain: float  # of the plain interval estimate, over the classes for which it has a number
    rmse_beside_plain: float  # of the default estimate over the same classes
    bias: float
    b10_cover: float
    b10_cover_se: float
    chance_cover: float
    chance_cover_se: float
    old_cover: float
    old_cover_se: float
    calibration: float
    calibration_se: float
    found_bias: float  # largest mean error of a detection row
    false_call_bias: float
    failing: float  # mean over fleets of estimated over true rate at which cracked parts fail
    found_within: float  # share of rates, over rows and fleets, within .05
    capture: float
    capture_low: float  # what the wrong priors change it by
    capture_high: float
    calibration_low: float
    calibration_high: float
    settled: float


def summary(generator: str, boats: int, trials: Sequence[Trial]) -> Summary:
    """Sum up the trials of one generator and size."""
    b10, chance, old = (
        _mean([getattr(t, name).mean() for t in trials]) for name in ("b10_holds", "chance_holds", "old_holds")
    )
    plain = [np.isfinite(t.plain_error) for t in trials]
    captured, calibration = (
        np.mean([getattr(t, name) for t in trials], axis=0) for name in ("captured", "calibration")
    )
    ratio = _mean([t.chance / t.true_chance for t in trials])
    return Summary(
        generator=generator,
        boats=boats,
        fleets=len(trials),
        rmse=_root([t.b10_error for t in trials]),
        rmse_perfect=_root([t.perfect_error for t in trials]),
        rmse_plain=_root([t.plain_error[has] for t, has in zip(trials, plain, strict=True)]),
        rmse_beside_plain=_root([t.b10_error[has] for t, has in zip(trials, plain, strict=True)]),
        bias=float(np.concatenate([t.b10_error for t in trials]).mean()),
        b10_cover=b10[0],
        b10_cover_se=b10[1],
        chance_cover=chance[0],
        chance_cover_se=chance[1],
        old_cover=old[0],
        old_cover_se=old[1],
        calibration=ratio[0],
        calibration_se=ratio[1],
        found_bias=float(np.abs(np.mean([t.found_error for t in trials], axis=0)).max()),
        false_call_bias=float(np.abs(np.mean([t.false_call_error for t in trials], axis=0)).max()),
        failing=float(np.mean([t.failing for t in trials])),
        found_within=float(np.mean([np.abs(t.found_error) <= 0.05 for t in trials])),
        capture=float(captured[0]),
        capture_low=float(captured[1] - captured[0]),
        capture_high=float(captured[2] - captured[0]),
        calibration_low=float(calibration[1]),
        calibration_high=float(calibration[2]),
        settled=float(np.mean([t.has_converged for t in trials])),
    )


def _mean(values: Sequence[float]) -> tuple[float, float]:
    """Return the mean of some fleets and its standard error (0 of a single one)."""
    many = np.asarray(values, dtype=float)
    return float(many.mean()), float(many.std(ddof=1) / np.sqrt(len(many))) if len(many) > 1 else 0.0


def _root(errors: Sequence[Floats]) -> float:
    return float(np.sqrt((np.concatenate(errors) ** 2).mean()))


def records(found: Sequence[Summary]) -> list[dict[str, object]]:
    """Return the summaries as plain records, for JSON."""
    return [asdict(one) for one in found]


_COLUMNS = (
    "fleets", "RMSE ln B10", "with perfect tests", "plain intervals (default beside it)", "B10 cover", "chance cover",
    "20 years on", "mean chance / true", "found, false call: largest bias", "found within .05",
    "failures of cracked parts / true", "top tenth holds",
    "found x0.7, x1.3: top tenth", "mean chance / true then", "settled",
)  # fmt: skip


def markdown(found: Sequence[Summary]) -> str:
    """Return the table: a measure a row, a generator and size a column."""
    heads = [f"{one.boats} boats, {one.generator}" for one in found]
    lines = ["| | " + " | ".join(heads) + " |", "| --- |" + " --- |" * len(found)]
    cells = [_cells(one) for one in found]
    lines += [f"| {name} | " + " | ".join(c[i] for c in cells) + " |" for i, name in enumerate(_COLUMNS)]
    return "\n".join(lines)


def _cells(one: Summary) -> list[str]:
    return [
        str(one.fleets),
        f"{one.rmse:.3f} (bias {one.bias:+.3f})",
        f"{one.rmse_perfect:.3f}",
        f"{one.rmse_plain:.3f} ({one.rmse_beside_plain:.3f})",
        f"{one.b10_cover:.3f} (SE {one.b10_cover_se:.3f})",
        f"{one.chance_cover:.3f} (SE {one.chance_cover_se:.3f})",
        f"{one.old_cover:.3f} (SE {one.old_cover_se:.3f})",
        f"{one.calibration:.3f} (SE {one.calibration_se:.3f})",
        f"{one.found_bias:.3f}, {one.false_call_bias:.3f}",
        f"{one.found_within:.0%}",
        f"{one.failing:.3f}",
        f"{one.capture:.1%}",
        f"{100 * one.capture_low:+.2f}, {100 * one.capture_high:+.2f} points",
        f"{one.calibration_low:.3f}, {one.calibration_high:.3f}",
        f"{one.settled:.0%}",
    ]


def put_between(text: str, table: str, *, command: str) -> str:
    """Return `text` with the table, and the command that made it, between the two markers."""
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    return f"{before}{BEGIN}\nMade by `{command}`:\n\n{table}\n{END}{after}"
