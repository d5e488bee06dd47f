"""Tests, one file a module; ``tests.cases`` makes the cases that they start from."""
