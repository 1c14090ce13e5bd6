"""What is meant: materials, compositions, formulas and their versions, and the review of a composition."""
