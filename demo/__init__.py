"""An invented room of bags: its own physics, its faults, and folders and live readings of it.

It shares no equation with the monitor and imports nothing of it, so that what the monitor
finds here it has not put here itself.
"""
