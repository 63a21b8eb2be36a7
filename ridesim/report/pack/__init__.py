"""Packs and cells: words and pictures."""
