"""A road before anyone rides it: words and pictures."""
