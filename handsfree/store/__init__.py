"""What is kept of many visits: one port, and the stores behind it. The folders of the visits stay the truth."""
