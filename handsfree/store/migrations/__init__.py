"""How the tables of a PostgreSQL store became what they are: numbered steps, each applied once."""
