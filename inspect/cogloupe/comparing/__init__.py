"""Whether a change helped: readings held against each other."""
