"""The invented studies that come with the kit: example data, not recipes to use on people."""
