"""Words and pictures of how sure an answer is."""
