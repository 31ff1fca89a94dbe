"""Tools for whoever writes a profile: drafts, examples, explanations, coverage, history in bulk."""
