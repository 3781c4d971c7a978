"""The models behind reading.json and its files; nothing is worked out here."""
