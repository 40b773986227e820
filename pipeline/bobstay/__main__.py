"""Lets `python -m bobstay` do what the command does."""

from bobstay.cli import main

main()
