"""One file for each version of the schema of a lab book; each says how to get there from the one before."""
