"""What parts, limits and claims are: the words that every other package speaks. Imports nothing else of cogledger."""
