"""A clinic in one thread: modelled disks, a wire and clocks; stores and conversations that are the real ones."""
