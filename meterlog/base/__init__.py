"""What every room uses: errors, places in texts, units, readings, uncertainty, seals. Imports no other room."""
