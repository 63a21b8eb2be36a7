"""Throttle laws: words and pictures."""
