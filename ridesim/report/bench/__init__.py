"""Bench readings: words and pictures."""
