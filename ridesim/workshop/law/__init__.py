"""Published classes."""
