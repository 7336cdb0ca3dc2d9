"""People and programs → the packages below."""
