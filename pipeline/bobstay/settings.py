"""Settings from `bobstay.toml`: every key optional, every mistake named, every default printable.

Numbers marked assumed are working numbers of the trade; a user's own replace them.
"""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import dataclass, field, fields, is_dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, get_args, get_origin, get_type_hints

from bobstay.errors import UsageError
from bobstay.tables import ACCESSES, METHODS, SCOPES

FILE_NAME = "bobstay.toml"


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


def _default_detection() -> dict[tuple[str, str], Rates]:
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


@dataclass(frozen=True, slots=True)
class Costs:
    """Costs in the units of the consequence classes (one unit is about 100 of a common currency). Assumed."""

    test: float = 0.3
    replace: float = 3.0
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
    minimum_at_risk: int = 5
    clear_counts_years: float = 2.0  # a clear look stops counting after this long, at most


@dataclass(frozen=True, slots=True)
class Plan:
    """What limits the haul-out plan."""

    budget: float = float("inf")  # money
    hours: float = float("inf")  # hours of work over the whole plan
    minimum_in_service: float = 0.0  # share of the boats of each service kept in service each week
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
class Settings:
    """All settings in force; `sources` says where each came from ("default" or the file's name)."""

    as_of: date | None = None  # None: the newest date in the data
    horizon_months: int = 12
    invented: bool = False  # the data are invented: say so on every page
    estimate: Estimate = field(default_factory=Estimate)
    detection: dict[tuple[str, str], Rates] = field(default_factory=_default_detection)
    consequence: Consequence = field(default_factory=Consequence)
    costs: Costs = field(default_factory=Costs)
    guidance: Guidance = field(default_factory=Guidance)
    plan: Plan = field(default_factory=Plan)
    sources: dict[str, str] = field(default_factory=dict)

    @property
    def horizon_years(self) -> float:
        """The horizon in years."""
        return self.horizon_months / 12


# Limits of each key: (lowest, highest), both included, or the words allowed.
_LIMITS: dict[str, tuple[float, float] | tuple[str, ...]] = {
    "horizon_months": (1, 240),
    "estimate.detection": ("imperfect", "perfect"),
    "estimate.pooling": ("crossed", "none"),
    "estimate.minimum_events": (1, 1000),
    "estimate.seed": (0, 2**31 - 1),
    "estimate.draws": (100, 20000),
    "estimate.interval": (0.5, 0.99),
    "estimate.late_joiner_cleared": (0, 1),
    "detection.found": (0.01, 0.99),
    "detection.false_call": (0.0001, 0.5),
    "detection.weight": (0, 1e6),
    "consequence.units": (0, 1e9),
    "consequence.classes": (1, 5),
    "consequence.otherwise": (1, 5),
    "costs.test": (0, 1e6),
    "costs.replace": (0, 1e6),
    "costs.failure": (0, 1),
    "costs.access": (0, 1e6),
    "guidance.test_limit": (0.0001, 0.99),
    "guidance.replace_limit": (0.0001, 0.99),
    "guidance.growth_years": (0.05, 50),
    "guidance.growth_years_otherwise": (0.05, 50),
    "guidance.minimum_at_risk": (1, 1000),
    "guidance.clear_counts_years": (0.1, 20),
    "plan.budget": (0, float("inf")),
    "plan.hours": (0, float("inf")),
    "plan.minimum_in_service": (0, 1),
    "plan.test_hours": (0, 1000),
    "plan.replace_hours": (0, 1000),
    "plan.access_hours": (0, 1000),
    "plan.money_per_unit": (0.01, 1e6),
}


def load(path: Path | None) -> Settings:
    """Read settings from `path`, or from bobstay.toml in the working folder where there is one.

    Raises UsageError that names the key, the value and what is allowed.
    """
    if path is None:
        here = Path(FILE_NAME)
        if not here.is_file():
            return Settings()
        path = here
    if not path.is_file():
        raise UsageError("the settings file is not there", where=str(path), remedy="check the name after --settings")
    try:
        tree = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise UsageError(
            f"the settings file is not TOML: {fault}",
            where=path.name,
            remedy="see `bobstay settings` for the form",
        ) from fault
    return from_tree(tree, source=path.name)


def from_tree(tree: dict[str, Any], *, source: str = "given") -> Settings:
    """Return the defaults overlaid with `tree` (as tomllib reads it); raises UsageError as `load` does."""
    reader = _Reader(source)
    values: dict[str, Any] = {}
    for key, value in tree.items():
        if key == "detection":
            values[key] = reader.detection(value)
        elif key == "consequence":
            values[key] = reader.consequence(value)
        else:
            values[key] = reader.field(Settings, key, value, "")
    if "detection" in values:
        values["detection"] = _default_detection() | values["detection"]
    values.pop("sources", None)
    return replace(Settings(), **values, sources=reader.sources)


class _Reader:
    """Reads TOML values into the dataclasses above, remembering where each key came from."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.sources: dict[str, str] = {}

    def wrong(self, key: str, value: object, allowed: str) -> UsageError:
        return UsageError(
            f"setting {key} = {value!r} cannot be used",
            where=f"{self.source}, key {key}, value {value!r}",
            remedy=f"allowed: {allowed}",
        )

    def unknown(self, key: str, known: list[str]) -> UsageError:
        near = difflib.get_close_matches(key.rsplit(".", 1)[-1], known, n=1)
        hint = f"did you mean {near[0]}? " if near else ""
        return UsageError(
            f"unknown setting {key}",
            where=f"{self.source}, key {key}",
            remedy=f"{hint}allowed here: {', '.join(sorted(known))}",
        )

    def field(self, owner: type, name: str, value: Any, prefix: str) -> Any:
        known = [f.name for f in fields(owner) if f.name != "sources"]
        key = f"{prefix}{name}"
        if name not in known:
            raise self.unknown(key, known)
        hint = get_type_hints(owner)[name]
        if is_dataclass(hint):
            return self.section(hint, value, key)  # type: ignore[arg-type]
        if get_origin(hint) is dict:
            return self.mapping(owner, name, value, key)
        self.sources[key] = self.source
        return self.scalar(hint, value, key)

    def section(self, owner: type, value: Any, key: str) -> Any:
        if not isinstance(value, dict):
            raise self.wrong(key, value, f"a table [{key}]")
        return owner(**{name: self.field(owner, name, v, f"{key}.") for name, v in value.items()})

    def mapping(self, owner: type, name: str, value: Any, key: str) -> dict[Any, Any]:
        if not isinstance(value, dict):
            raise self.wrong(key, value, f"a table [{key}]")
        key_type, value_type = get_args(get_type_hints(owner)[name])
        default = getattr(owner(), name)
        merged = dict(default)
        for k, v in value.items():
            merged[self.mapping_key(key_type, k, key, default)] = self.scalar(value_type, v, key, f"{key}.{k}")
            self.sources[f"{key}.{k}"] = self.source
        return merged

    def mapping_key(self, key_type: type, word: str, key: str, default: dict[Any, Any]) -> Any:
        if key_type is int:
            if word not in {"1", "2", "3", "4", "5"}:
                raise self.unknown(f"{key}.{word}", ["1", "2", "3", "4", "5"])
            return int(word)
        if set(default) == set(ACCESSES) and word not in ACCESSES:
            raise self.unknown(f"{key}.{word}", list(ACCESSES))
        return word

    def scalar(self, kind: Any, value: Any, key: str, shown: str | None = None) -> Any:
        shown = shown or key
        if kind == date | None:
            return self.day(value, shown)
        limits = _LIMITS.get(key, ())
        if kind is bool:
            if not isinstance(value, bool):
                raise self.wrong(shown, value, "true or false")
            return value
        if kind is str:
            if value not in limits:
                raise self.wrong(shown, value, " or ".join(map(str, limits)))
            return value
        return self.number(kind, value, shown, limits)

    def number(self, kind: type, value: Any, shown: str, limits: tuple[Any, ...]) -> Any:
        low, high = limits
        noun = "a whole number" if kind is int else "a number"
        allowed = f"{noun} from {low:g} to {high:g}"
        fits = isinstance(value, int) or (kind is float and isinstance(value, float))
        if isinstance(value, bool) or not fits or not low <= value <= high:
            raise self.wrong(shown, value, allowed)
        return kind(value)

    def day(self, value: Any, shown: str) -> date:
        if type(value) is date:
            return value
        try:
            return date.fromisoformat(value)
        except (TypeError, ValueError):
            raise self.wrong(shown, value, 'a day, as "2027-01-10"') from None

    def detection(self, value: Any) -> dict[tuple[str, str], Rates]:
        if not isinstance(value, dict):
            raise self.wrong("detection", value, "tables [detection.METHOD]")
        found: dict[tuple[str, str], Rates] = {}
        default = _default_detection()
        for method, table in value.items():
            if method not in METHODS:
                raise self.unknown(f"detection.{method}", list(METHODS))
            if not isinstance(table, dict):
                raise self.wrong(f"detection.{method}", table, f"a table [detection.{method}]")
            own = {k: v for k, v in table.items() if k not in SCOPES}
            for scope in SCOPES:
                key = f"detection.{method}"
                mine = self.rates(default[method, scope], own, key)
                found[method, scope] = self.rates(mine, table.get(scope, {}), f"{key}.{scope}")
        return found

    def rates(self, base: Rates, table: Any, key: str) -> Rates:
        known = [f.name for f in fields(Rates)]
        if not isinstance(table, dict):
            raise self.wrong(key, table, f"a table [{key}] with {', '.join(known)}")
        values = {}
        for name, value in table.items():
            if name not in known:
                raise self.unknown(f"{key}.{name}", known)
            values[name] = self.scalar(float, value, f"detection.{name}", f"{key}.{name}")
            self.sources[f"{key}.{name}"] = self.source
        return replace(base, **values)

    def consequence(self, value: Any) -> Consequence:
        """Keys 1..5 are cost units, `otherwise` the class of types not listed, any other key a type's class."""
        if not isinstance(value, dict):
            raise self.wrong("consequence", value, "a table [consequence]")
        base = Consequence()
        units, classes, otherwise = dict(base.units), dict(base.classes), base.otherwise
        for key, v in value.items():
            self.sources[f"consequence.{key}"] = self.source
            if key in {"1", "2", "3", "4", "5"}:
                units[int(key)] = self.scalar(float, v, "consequence.units", f"consequence.{key}")
            elif key == "otherwise":
                otherwise = self.scalar(int, v, "consequence.otherwise", "consequence.otherwise")
            else:
                word = " ".join(key.replace("_", " ").lower().split())
                classes[word] = self.scalar(int, v, "consequence.classes", f"consequence.{key}")
        return Consequence(units, classes, otherwise)


def consequence_class(settings: Settings, fitting_type: str, stated: int | None = None) -> int:
    """Return the consequence class of a fitting: as stated in its row, else its type's, else the rest's."""
    if stated is not None:
        return stated
    word = " ".join(fitting_type.replace("_", " ").lower().split())
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
