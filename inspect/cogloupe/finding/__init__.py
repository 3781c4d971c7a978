"""Where the gear is on a picture, and which tooth is which."""
