"""Messages to and from a broker, waiting on disk while it is away."""
