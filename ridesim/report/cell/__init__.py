"""A fitted cell, in words and a picture."""
