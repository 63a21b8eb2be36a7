"""How far: words and pictures."""
