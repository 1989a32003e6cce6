"""A whole watched room with a virtual clock and faults, all drawn from one seed.

`python -m tests.simulation SEED` plays one seed and prints its story, `--seeds 0-2000` a swarm.
What runs is the real `Live`: store, road, outbox; only clock, wires and channels are made here.
"""
