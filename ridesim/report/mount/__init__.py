"""What holds the drive: words and pictures."""
