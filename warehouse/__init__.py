"""Claims → kept, resolved, questioned."""
