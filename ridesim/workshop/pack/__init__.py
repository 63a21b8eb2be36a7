"""Packs and cells."""
