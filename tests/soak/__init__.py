"""Many whole rehearsals with real sound, random homes and faults: `python -m tests.soak`."""
