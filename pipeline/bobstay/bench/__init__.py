"""Timings against a general-purpose library, in one run on the same rows."""
