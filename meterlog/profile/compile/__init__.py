"""From a profile's text to what reads an instrument's bytes."""
