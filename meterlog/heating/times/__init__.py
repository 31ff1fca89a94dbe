"""When the load was heated, and at full output."""
