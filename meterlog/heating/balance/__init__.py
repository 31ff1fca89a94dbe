"""The load and its heat: what stayed in it, what the room took."""
