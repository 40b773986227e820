"""Reads `bobstay.toml`: every key optional, every mistake named with its key, value and what is allowed."""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import fields, is_dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, get_args, get_origin, get_type_hints

from bobstay.errors import UsageError
from bobstay.settings.record import Consequence, Rates, Settings, default_detection, plain_word
from bobstay.tables import ACCESSES, METHODS, SCOPES

FILE_NAME = "bobstay.toml"

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
    "detection.found": (0.001, 0.9999),
    "detection.false_call": (0.000001, 0.5),
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
    "guidance.growth_spread": (0.05, 3),
    "guidance.minimum_at_risk": (1, 1000),
    "guidance.clear_counts_years": (0.1, 20),
    "guidance.interim_test_years": (0.5, 50),
    "rank.draw": (0, 1000),
    "plan.budget": (0, float("inf")),
    "plan.hours": (0, float("inf")),
    "plan.minimum_in_service": (0, 1),
    "plan.kept_by": ("service", "home_port", "design", "fleet"),
    "plan.kept_in_service": (0, 1_000_000),
    "plan.access_boats_max": (0, float("inf")),
    "plan.lead_weeks": (0, 200),
    "plan.lead_weeks_otherwise": (0, 200),
    "plan.test_hours": (0, 1000),
    "plan.replace_hours": (0, 1000),
    "plan.access_hours": (0, 1000),
    "plan.money_per_unit": (0.01, 1e6),
    "words.language": ("en", "de"),
    "words.decimal": ("language", "point", "comma"),
    "words.date": ("language", "named", "dots", "iso"),
    "words.length_unit": ("mm", "inch"),
    "words.temperature_unit": ("celsius", "fahrenheit"),
    "backtest.origins": (0, 30),
    "backtest.every_years": (0.1, 50),
    "backtest.most_looks": (0, 1e9),
}
_FREE = {"words.currency": 8}  # texts that may say anything, and how long they may be


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
        values["detection"] = default_detection() | values["detection"]
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
        if key in _FREE:
            if not isinstance(value, str) or len(value) > _FREE[key] or not value.isprintable():
                raise self.wrong(shown, value, f"a text of at most {_FREE[key]} signs")
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
        default = default_detection()
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
        reasons = self.reasons(value.get("reasons", {}))
        for key, v in ((key, v) for key, v in value.items() if key != "reasons"):
            self.sources[f"consequence.{key}"] = self.source
            if key in {"1", "2", "3", "4", "5"}:
                units[int(key)] = self.scalar(float, v, "consequence.units", f"consequence.{key}")
            elif key.isdigit():
                raise self.unknown(f"consequence.{key}", ["1", "2", "3", "4", "5"])
            elif key == "otherwise":
                otherwise = self.scalar(int, v, "consequence.otherwise", "consequence.otherwise")
            else:
                classes[plain_word(key)] = self.scalar(int, v, "consequence.classes", f"consequence.{key}")
        return Consequence(units, classes, otherwise, reasons)

    def reasons(self, value: Any) -> dict[str, str]:
        """Read why the class of a type was moved, by type."""
        if not isinstance(value, dict):
            raise self.wrong("consequence.reasons", value, "a table [consequence.reasons]")
        for key, text in value.items():
            if not isinstance(text, str) or not text.strip():
                raise self.wrong(f"consequence.reasons.{key}", text, "a reason in words")
            self.sources[f"consequence.reasons.{key}"] = self.source
        return {plain_word(key): " ".join(text.split()) for key, text in value.items()}
