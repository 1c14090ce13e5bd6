"""The numbered steps; a step that has been released is never edited."""
