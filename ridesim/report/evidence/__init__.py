"""Outside checks: words and pictures."""
