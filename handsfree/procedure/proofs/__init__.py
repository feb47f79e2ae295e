"""What is proven of a procedure before anyone trusts it, and the stories that break a proof."""
