"""Sharing: a template is checked, run in a fresh kernel and laid out as one page that needs no network."""
