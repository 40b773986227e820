"""Bobstay: learns from inspection records which fittings to test or renew, when, and how sure one can be."""

__version__ = "0.1.0"
