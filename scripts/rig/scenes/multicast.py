"""Multicast that is passed on, or not any more."""
