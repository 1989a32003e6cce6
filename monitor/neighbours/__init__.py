"""What a room tells its neighbours over a broker: how it stands, its alarms, its claim to its name.

Everything is under one prefix, see `topics.py`; the messages are in `monitor/room_messages.py`
and `monitor/room_summary.py`.
"""
