"""Published classes: words and pictures."""
