"""Immutable entries and their way from store to store. Knows nothing of what the entries mean."""
