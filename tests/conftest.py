"""Makes this folder's shared fixtures importable by the tests below it."""
