"""Files → claims. Knows no store: what it needs from one is passed in."""
