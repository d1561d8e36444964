"""The hazard table of `assistant/docs/hazards.md`: read, held to the phrase book and the routines, and proven.

`python -m tests.hazards` takes each spoken response out in turn and shows that
the test named in its row then fails.
"""
