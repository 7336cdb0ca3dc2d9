"""Photos of stamped codes → model code, variant and tooth counts."""
