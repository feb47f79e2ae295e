"""The authors' language: what a procedure file may say, read with its line numbers and proven."""
