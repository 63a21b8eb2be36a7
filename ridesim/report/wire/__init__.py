"""Leads, fuses, plugs and pre-charge: words and pictures."""
