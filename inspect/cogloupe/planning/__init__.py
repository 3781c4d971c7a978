"""Before cutting: sizes of the gear, its mate, and the indexing of the machine."""
