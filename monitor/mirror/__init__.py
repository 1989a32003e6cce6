"""A copy of readings, estimates and alarms at a server of time series, from our own cursor."""

from monitor.mirror.mirror import Copying, Mirror, MirrorHealth, NoMirror

__all__ = ["Copying", "Mirror", "MirrorHealth", "NoMirror"]
