"""What the files of bikes and of roads share: keys with help and range, faults in plain words, texts for people."""
