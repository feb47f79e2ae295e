"""Readings and what may be concluded from them: settling, uncertainty, verdicts, advice."""
