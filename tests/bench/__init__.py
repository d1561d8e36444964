"""Benchmarks: `python -m tests.bench [--json F] [--plots FOLDER] [NAME ...]`.

A benchmark is a module of this package with a function `measure() -> Result`;
it is found by being here. It measures beside a plain baseline in the same run,
because seconds differ between machines and ratios hardly do.
"""
