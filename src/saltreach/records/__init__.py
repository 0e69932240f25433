"""What happens to anchors: the book of events, the state they add up to, returns, lessons."""
