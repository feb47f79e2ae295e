"""The visit itself: pure functions from inputs to events, and from events to state."""
