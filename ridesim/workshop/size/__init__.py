"""Which motor."""
