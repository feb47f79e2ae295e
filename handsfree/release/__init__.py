"""Releasing a procedure: what must be so before an author may sign it, and what goes into its bundle."""
