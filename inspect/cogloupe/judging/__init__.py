"""What a reading comes to: what is wrong most, whether the gear serves, what to do next."""
