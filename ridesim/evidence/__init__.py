"""Checks against the outside that the user can rerun."""
