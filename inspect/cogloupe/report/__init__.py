"""What a person is shown of a reading: charts, overlay, page, terminal table.

Everything here draws or words the figures of a `Reading`; nothing here computes one.
"""
