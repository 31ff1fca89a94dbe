"""Bytes to outcomes: cutting a stream into frames, checking them, and the conversation that yields them."""
