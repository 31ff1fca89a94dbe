"""The store: one SQLite file, one writer, evidence that refuses change. See `schema` for the tables."""
