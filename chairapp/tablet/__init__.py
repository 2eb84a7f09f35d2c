"""The offline page: its frozen release, its service worker, its judge in a worker."""
