"""A company on one machine: its folder, its keys, and the processes that serve it. COMPANY.md beside it."""
