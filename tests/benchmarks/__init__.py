"""Measures, asserts nothing: ``python -m tests.benchmarks``."""
