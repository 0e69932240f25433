"""What happens to anchors: the book of events, the present state derived from it, returns, lessons."""
