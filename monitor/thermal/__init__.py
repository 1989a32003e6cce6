"""Thermal physics of a bag and its room: pure formulas, SI inside, each with its source."""
