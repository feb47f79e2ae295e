"""A minute of enrolment: how one person says the numbers, set beside what is heard of them on a visit."""
