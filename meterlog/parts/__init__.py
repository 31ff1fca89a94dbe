"""Parts: what their markings say, preferred values, and what may stand in for what."""
