"""Bench readings."""
