"""How two measured gears run together, and where to drill for them."""
