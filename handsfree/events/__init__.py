"""What is recorded of a visit: what came in, what was decided, and the state that it adds up to."""
