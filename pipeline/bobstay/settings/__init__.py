"""Settings: their defaults, and `bobstay.toml` that overrides them."""

from bobstay.settings.reading import FILE_NAME, from_tree, load
from bobstay.settings.record import (
    Consequence,
    Costs,
    Estimate,
    Guidance,
    Plan,
    Rank,
    Rates,
    Settings,
    Words,
    consequence_class,
    default_detection,
    flattened,
    plain_word,
    tree,
)

__all__ = [
    "FILE_NAME",
    "Consequence",
    "Costs",
    "Estimate",
    "Guidance",
    "Plan",
    "Rank",
    "Rates",
    "Settings",
    "Words",
    "consequence_class",
    "default_detection",
    "flattened",
    "from_tree",
    "load",
    "plain_word",
    "tree",
]
