"""What a person is told: notices, cautions, and how figures are written."""
