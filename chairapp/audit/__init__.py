"""The practice manager: which visits are signed and what their verdicts are, and the trail of each."""
