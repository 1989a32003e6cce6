"""The page for a phone in the grow room, served by the daemon beside its own work."""

from monitor.page.latest import Latest
from monitor.page.server import PageServer

__all__ = ["Latest", "PageServer"]
