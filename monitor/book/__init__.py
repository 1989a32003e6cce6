"""The grower's book: what may be written into it, and the work done with it at the rack."""
