"""What regen is worth: words and pictures."""
