"""The settings and their defaults.

Numbers marked assumed are working numbers of the trade; a user's own replace them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, is_dataclass
from datetime import date
from typing import Any

from bobstay.tables import SCOPES


@dataclass(frozen=True, slots=True)
class Estimate:
    """How the estimate is made."""

    detection: str = "imperfect"  # imperfect | perfect
    pooling: str = "crossed"  # crossed | none
    boat_effect: bool = True
    minimum_events: int = 3  # below this no class estimate of its own is printed as one
    seed: int = 1
    draws: int = 2000  # Laplace draws behind every interval
    interval: float = 0.9  # nominal cover of every interval
    late_joiner_cleared: float = 0.5  # how surely a crack from before joining had been taken out


@dataclass(frozen=True, slots=True)
class Rates:
    """What one method does: chance to show a crack that is there, and one that is not; looks they are worth."""

    found: float
    false_call: float
    weight: float = 20.0


# Chance to show a crack that is there, part removed; the second number is in place (its visible part). Assumed:
# working numbers of the trade, operator-dependent; no field figures for yachts were found.
_FOUND = {
    "visual": (0.3, 0.15),
    "magnified": (0.5, 0.25),
    "penetrant": (0.7, 0.35),
    "fluorescent_penetrant": (0.9, 0.45),
    "eddy_current": (0.8, 0.8),
    "ultrasonic": (0.6, 0.6),
    "radiographic": (0.5, 0.5),
    "proof_load": (0.2, 0.2),
}
_FALSE_CALL = {"visual": 0.01, "magnified": 0.015, "penetrant": 0.05}


def default_detection() -> dict[tuple[str, str], Rates]:
    """Return the assumed rates of every method, taken off and in place."""
    return {
        (method, scope): Rates(found, _FALSE_CALL.get(method, 0.03))
        for method, pair in _FOUND.items()
        for scope, found in zip(SCOPES, pair, strict=True)
    }


@dataclass(frozen=True, slots=True)
class Consequence:
    """Cost units of the classes 1..5, and the class of each fitting type. Assumed."""

    units: dict[int, float] = field(default_factory=lambda: {1: 1.0, 2: 10.0, 3: 60.0, 4: 300.0, 5: 1000.0})
    classes: dict[str, int] = field(
        default_factory=lambda: {
            "keel bolt": 5,
            "rudder stock": 5,
            "seacock": 5,
            "chainplate": 4,
            "stem fitting": 4,
            "mast tang": 4,
            "backstay plate": 4,
            "shroud terminal": 4,
            "swaged terminal": 4,
            "turnbuckle": 4,
            "toggle": 4,
            "clevis pin": 4,
            "pintle": 3,
            "spreader bracket": 3,
            "stanchion base": 3,
            "exhaust elbow": 3,
            "gooseneck": 2,
        }
    )
    otherwise: int = 3  # class of a fitting type not listed
    reasons: dict[str, str] = field(default_factory=dict)  # why a type's class was moved, by fitting type


@dataclass(frozen=True, slots=True)
class Costs:
    """Costs in the units of the consequence classes (one unit is about 100 of a common currency). Assumed."""

    test: float = 0.3
    replace: float = 6.0
    failure: float = 0.3  # chance that a crack left in place fails within the horizon
    access: dict[str, float] = field(
        default_factory=lambda: {
            "afloat": 0.0,
            "aloft": 1.0,
            "engine_bay": 0.5,
            "mast_out": 15.0,
            "hauled": 10.0,
            "keel_off": 40.0,
        }
    )


@dataclass(frozen=True, slots=True)
class Guidance:
    """Limits that set test-from, retest and replace-by ages. Assumed: nobody publishes them for yachts."""

    test_limit: dict[int, float] = field(default_factory=lambda: {1: 0.3, 2: 0.2, 3: 0.1, 4: 0.05, 5: 0.02})
    replace_limit: dict[int, float] = field(default_factory=lambda: {1: 0.9, 2: 0.7, 3: 0.5, 4: 0.3, 5: 0.2})
    growth_years: dict[str, float] = field(default_factory=dict)  # detectable to broken, median, by fitting type
    growth_years_otherwise: float = 4.0
    growth_spread: float = 0.5  # standard deviation of ln growth time
    minimum_at_risk: int = 5
    clear_counts_years: float = 2.0  # a clear look stops counting after this long, at most
    interim_test_years: float = 5.0  # first test where neither a class nor its like has a curve


@dataclass(frozen=True, slots=True)
class Rank:
    """How the list is made besides the estimate."""

    draw: int = 5  # fittings low on the list that are drawn by lot each season, so that the list can be proved wrong


@dataclass(frozen=True, slots=True)
class Plan:
    """What limits the haul-out plan."""

    budget: float = float("inf")  # money
    hours: float = float("inf")  # hours of work over the whole plan
    minimum_in_service: float = 0.0  # share of the boats of each group kept in service each week
    kept_by: str = "service"  # what makes a group: service, home_port, design, or fleet (all boats)
    kept_in_service: dict[str, int] = field(default_factory=dict)  # boats of a group kept in service, by its word
    access_boats_max: dict[str, float] = field(  # boats a slot can open an access for in a week: a crane's limit
        default_factory=lambda: dict.fromkeys(
            ("afloat", "aloft", "engine_bay", "mast_out", "hauled", "keel_off"), float("inf")
        )
    )
    lead_weeks: dict[str, float] = field(default_factory=dict)  # a new part's, by type or by "type/material"
    lead_weeks_otherwise: float = 0.0
    test_hours: float = 0.5  # where prices do not say
    replace_hours: float = 2.0
    access_hours: dict[str, float] = field(
        default_factory=lambda: {
            "afloat": 0.0,
            "aloft": 1.0,
            "engine_bay": 1.0,
            "mast_out": 6.0,
            "hauled": 3.0,
            "keel_off": 24.0,
        }
    )
    money_per_unit: float = 100.0  # what one cost unit is worth, where prices do not say


@dataclass(frozen=True, slots=True)
class Words:
    """The language of pages and papers, and how they write numbers, days, money and units."""

    language: str = "en"  # en | de
    decimal: str = "language"  # as the language has it, or point | comma
    date: str = "language"  # as the language has it, or named (31 Oct 2026) | dots (31.10.2026) | iso (2026-10-31)
    currency: str = ""  # written after money
    length_unit: str = "mm"  # mm | inch
    temperature_unit: str = "celsius"  # celsius | fahrenheit


@dataclass(frozen=True, slots=True)
class Backtest:
    """How the back-test looks back."""

    origins: int = 5  # seasons looked back on; 0: none
    every_years: float = 4.0  # interval of the habit "a fixed interval for all". Assumed
    most_looks: int = 200_000  # `run` leaves the back-test to its own command on records of more looks than this


@dataclass(frozen=True, slots=True)
class Settings:
    """All settings in force; `sources` says where each came from ("default" or the file's name)."""

    as_of: date | None = None  # None: the newest date in the data
    horizon_months: int = 12
    invented: bool = False  # the data are invented: say so on every page
    estimate: Estimate = field(default_factory=Estimate)
    detection: dict[tuple[str, str], Rates] = field(default_factory=default_detection)
    consequence: Consequence = field(default_factory=Consequence)
    costs: Costs = field(default_factory=Costs)
    guidance: Guidance = field(default_factory=Guidance)
    rank: Rank = field(default_factory=Rank)
    plan: Plan = field(default_factory=Plan)
    words: Words = field(default_factory=Words)
    backtest: Backtest = field(default_factory=Backtest)
    sources: dict[str, str] = field(default_factory=dict)

    @property
    def horizon_years(self) -> float:
        """The horizon in years."""
        return self.horizon_months / 12


def plain_word(word: str) -> str:
    """Return a word as the settings name it: lower case, spaces for underlines, one space between."""
    return " ".join(word.replace("_", " ").lower().split())


def consequence_class(settings: Settings, fitting_type: str, stated: int | None = None) -> int:
    """Return the consequence class of a fitting: as stated in its row, else its type's, else the rest's."""
    if stated is not None:
        return stated
    word = plain_word(fitting_type)
    return settings.consequence.classes.get(word, settings.consequence.otherwise)


def flattened(settings: Settings) -> dict[str, tuple[Any, str]]:
    """Return every key in force with its value and where it comes from, in the form a TOML file takes."""
    rows: dict[str, Any] = {}
    for f in fields(settings):
        value = getattr(settings, f.name)
        if f.name == "sources":
            continue
        if f.name == "detection":
            for (method, scope), rates in value.items():
                key = f"detection.{method}" if scope == "removed" else f"detection.{method}.in_place"
                rows |= {f"{key}.{r.name}": getattr(rates, r.name) for r in fields(rates)}
        elif f.name == "consequence":
            rows |= {f"consequence.{k}": v for k, v in value.units.items()}
            rows |= {f"consequence.{k.replace(' ', '_')}": v for k, v in value.classes.items()}
            rows["consequence.otherwise"] = value.otherwise
            rows |= {f"consequence.reasons.{k.replace(' ', '_')}": v for k, v in value.reasons.items()}
        elif is_dataclass(value):
            rows |= _flat_section(f.name, value)
        else:
            rows[f.name] = value
    return {key: (value, settings.sources.get(key, "default")) for key, value in rows.items()}


def _flat_section(name: str, section: Any) -> dict[str, Any]:
    rows: dict[str, Any] = {}
    for f in fields(section):
        value = getattr(section, f.name)
        if isinstance(value, dict):
            rows |= {f"{name}.{f.name}.{k}": v for k, v in value.items()}
        else:
            rows[f"{name}.{f.name}"] = value
    return rows


def tree(settings: Settings) -> dict[str, Any]:
    """Return what differs from the defaults, nested as tomllib would read it (days as text)."""
    root: dict[str, Any] = {}
    for key, (value, source) in flattened(settings).items():
        if source != "default":
            # a group's or a type's own word may hold a point
            *parents, last = key.split(".", 2) if key.startswith("plan.") else key.split(".")
            branch = root
            for parent in parents:
                branch = branch.setdefault(parent, {})
            branch[last] = value.isoformat() if isinstance(value, date) else value
    return root
