"""Words: how they are said, which may follow which, and what they mean."""
