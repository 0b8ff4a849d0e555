"""One package with which a stranger gets the same numbers: write, verify, reproduce."""
