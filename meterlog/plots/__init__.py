"""Pictures as SVG text, for screen, paper and files: pure functions of what they show."""
