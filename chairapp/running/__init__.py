"""Running a node for years: what has to be looked after, the nightly backup, the check of an installation."""
