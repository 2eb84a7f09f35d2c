"""One node on a machine: its settings, its data folder, its log, and what it keeps of the clinic."""
