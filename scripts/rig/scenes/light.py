"""Later."""
