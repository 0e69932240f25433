"""Folders of results: whole or not at all, and nothing in them that is the user's is lost."""
