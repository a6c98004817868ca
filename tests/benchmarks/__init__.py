"""Timings as ratios, ours against a reference in the same run: `python -m tests.benchmarks`."""
