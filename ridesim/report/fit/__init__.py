"""Fitted recordings: words and pictures."""
