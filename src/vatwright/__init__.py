"""Process engineering for people who print with resin: it decides, explains and remembers."""

__version__ = "0.1.0"
