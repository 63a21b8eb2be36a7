"""How sure is it: tolerances become draws, draws become rides, rides become spans, chances and what to measure next."""
