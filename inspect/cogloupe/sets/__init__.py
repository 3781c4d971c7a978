"""Several pictures of one gear: turned, repeated or partial, brought to one reading."""
