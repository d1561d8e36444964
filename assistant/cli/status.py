"""What a command's exit status says."""

from __future__ import annotations

DONE = 0
NO = 1
"""The answer is no: not cleared, does not fit, a check failed."""
WRONG_INPUT = 2
