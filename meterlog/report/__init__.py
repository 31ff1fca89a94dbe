"""Sheets of a job, for its owner and for whoever checks it."""
