"""What is learned: versions compared side by side, with what counts and what does not, and why."""
