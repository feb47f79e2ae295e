"""What other programs may read of an office's visits, by tokens, and what they are told: API.md beside it."""
