"""Facts as printed in their sources, and the drawing library that a page carries."""
