"""The migrations, oldest first by their names."""
