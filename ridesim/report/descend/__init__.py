"""Heat of the brakes on the way down: words and pictures."""
