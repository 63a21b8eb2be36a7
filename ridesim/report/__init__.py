"""Words and pictures, functions of results."""
