"""Sound to words: sources, voice activity, and the recogniser."""
