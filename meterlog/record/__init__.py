"""The record: what was kept, read back and reached again."""
