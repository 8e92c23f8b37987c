"""What is shown of a watch: plain values, the same for a page, a board and a terminal."""
