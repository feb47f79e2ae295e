"""The append-only record of a visit, its seal, and the checking of both."""
