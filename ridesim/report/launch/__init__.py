"""How quick: words and pictures."""
