"""What the builder owns: the bike, its parts and the files they are written in."""
