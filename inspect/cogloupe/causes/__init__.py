"""What on the machine leaves which error, and which of it explains a reading."""
