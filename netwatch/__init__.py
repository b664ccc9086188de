"""See, watch and explain the network that carries light."""

__version__ = "0.1.0"
