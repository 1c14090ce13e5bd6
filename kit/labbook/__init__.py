"""What is kept: the lab book, its append-only streams and the file they live in."""
