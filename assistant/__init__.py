"""combside: an offline voice that walks two people through relaxing hair at home."""

__version__ = "0.1.0"
