"""Rewinding a motor."""
