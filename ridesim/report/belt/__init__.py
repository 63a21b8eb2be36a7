"""Toothed belts: words and pictures."""
