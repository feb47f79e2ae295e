"""What an editor shows of a procedure while it is written: what `check` finds, what may stand where, and why."""
