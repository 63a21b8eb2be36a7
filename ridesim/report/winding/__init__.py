"""Rewinding a motor: words and pictures."""
