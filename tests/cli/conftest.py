"""Fixtures for the commands' tests."""

from tests.cli.household_home import home

__all__ = ["home"]
