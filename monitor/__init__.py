"""bagwatt: watches inoculated bags through the spawn run and says which one to look at."""

__version__ = "0.1.0"
