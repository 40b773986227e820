"""Mapping files: what one sender's columns, words, days, numbers and shapes say in the words of the tables."""

from bobstay.mapping.figures import UNITS, as_number
from bobstay.mapping.reading import load
from bobstay.mapping.record import PartRule, SenderMapping, Shape, Wide, plain_heading

__all__ = ["UNITS", "PartRule", "SenderMapping", "Shape", "Wide", "as_number", "load", "plain_heading"]
