"""Mutation testing of the judge: `make mutate`."""
