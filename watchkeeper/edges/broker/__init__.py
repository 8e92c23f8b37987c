"""A broker of the watch's own, in a process of its own."""
