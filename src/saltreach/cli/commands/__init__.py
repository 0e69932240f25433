"""One command, one file: each has `add_to(app)`, and the program finds it."""
