"""A typed client of the Trisect service.

>>> from trisect import Client
>>> with Client() as service:
...     print(service.service_about()["version"])
"""
from . import types
from .client import AsyncClient, Client
from .errors import ConnectionLost, TrisectError
from .watch import AsyncWatch, Watch

__all__ = ["AsyncClient", "AsyncWatch", "Client", "ConnectionLost", "TrisectError", "Watch", "types"]
