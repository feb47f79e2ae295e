"""A third opinion: a general recogniser that has heard very many people, asked about what ours has heard."""
