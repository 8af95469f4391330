"""One file for each version of the schema of a lab book; each upgrades from the one before."""
