"""Methods by subject: each a pure function from results to a result, listed in its module's `METHODS`."""
