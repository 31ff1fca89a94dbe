"""What the thermometer logged: its columns, its still stretches, the lines through them."""
