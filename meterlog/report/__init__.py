"""What a job's record says in words, for pages and paper; the sheets for its owner and for whoever checks it."""
