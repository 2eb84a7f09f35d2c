"""Staff and devices: the invented clinic of the demo, and how a device is paired."""
