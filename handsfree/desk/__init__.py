"""The supervisor's pages over recorded visits."""
