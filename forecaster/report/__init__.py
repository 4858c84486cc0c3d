"""Text, pages and files made from a finished forecast; computes nothing of its own."""
