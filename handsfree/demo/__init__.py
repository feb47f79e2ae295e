"""The built-in scenario: a made-up boiler, a made-up technician, a whole visit."""
