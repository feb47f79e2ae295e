"""Stories of a procedure: what is said and when, what is expected, and which ways no story walks."""
