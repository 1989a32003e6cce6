"""Ways to reach a person. Each answers delivered, try again or refused."""

from monitor.channels.channel import Answer, Channel
from monitor.channels.push import PushChannel, build_channels, usable

__all__ = ["Answer", "Channel", "PushChannel", "build_channels", "usable"]
