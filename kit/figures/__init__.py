"""What is seen: one module for each question a figure answers."""
