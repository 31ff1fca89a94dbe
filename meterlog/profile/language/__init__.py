"""The profile language: its keys, words and places, and which of them fit together."""
