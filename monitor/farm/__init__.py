"""All rooms of a farm at one glance, from what each tells over a broker, and their lots as one.

Rooms stay what they are, each with its own monitor; here they are only looked at.
"""
