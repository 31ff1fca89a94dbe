"""Where files lie: what ships with the package, and what is this user's own."""
