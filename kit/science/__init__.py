"""Equations: plain floats in, frozen results out. This package knows no formula, no file and no plot."""
