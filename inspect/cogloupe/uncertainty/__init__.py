"""What each source of doubt does to the flanks, and how doubts combine."""
