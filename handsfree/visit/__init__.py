"""The shell around a visit: it owns the clock and the order - decide, append, apply, speak."""
