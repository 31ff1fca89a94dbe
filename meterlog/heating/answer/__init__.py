"""What a run tells: power with its budget, its verdict, in words and as data."""
