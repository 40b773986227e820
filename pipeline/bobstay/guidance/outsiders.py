"""Rules from outside beside our ages: the earliest wins and says whose it is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from bobstay.outside import strictest

if TYPE_CHECKING:
    from collections.abc import Sequence

    from bobstay.guidance.advice import Advice
    from bobstay.outside import Rule

_KINDS = (("test_from", "test"), ("retest", "retest"), ("replace_by", "renew"))
_AS_RULES = {"replace_by": "renew_by"}


def beside(row: Any, advice: Advice, rules: Sequence[Rule]) -> dict[str, Any]:
    """Return the strictest rule of each kind for the class of `row`, whose it is, and whose age is the earliest."""
    ours = {"test_from": advice.test.years, "retest": advice.again.years, "replace_by": advice.renew.years}
    found: dict[str, Any] = {}
    winners = []
    for kind, word in _KINDS:
        rule = strictest(rules, _AS_RULES.get(kind, kind), row.fitting_type, row.material)
        found |= {
            f"{kind}_rule_years": rule.years if rule else np.nan,
            f"{kind}_rule_by": rule.issuer if rule else None,
        }
        winners.append(f"{word}: {_whose(ours[kind], rule)}")
    return found | {"earliest": "; ".join(winners)}


def _whose(ours: float, rule: Rule | None) -> str:
    if rule is None:
        return "our guidance" if np.isfinite(ours) else "nobody's"
    if ours <= rule.years:
        return f"our guidance, before {rule.issuer} ({rule.years:g} years)"
    source = f", {rule.source}" if rule.source else ""
    return f"{rule.issuer} ({rule.years:g} years{source})"
