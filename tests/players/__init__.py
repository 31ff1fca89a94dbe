"""Players: the instruments' side of a link, for tests and for making the sample captures."""
