"""What the person gives: the photograph, what is known of the gear, the scale."""
