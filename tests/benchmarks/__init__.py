"""What the program costs: ``python -m tests.benchmarks``; and ``python -m tests.benchmarks.kill``."""
