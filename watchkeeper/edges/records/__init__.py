"""What is written down and read again: recordings and the watch log."""
