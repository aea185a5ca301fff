"""Comparing and signing off what was made."""
