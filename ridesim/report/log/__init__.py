"""What is in a log, in words and a picture."""
