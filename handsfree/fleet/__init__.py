"""Heavy work over very many visits: each in a process of its own, and gone on with after a cut."""
