"""Ride-through: how long a battery unit keeps a refrigerator running, how big it must be, how sure that is.

The way the data flows: readings -> measure -> model -> answer -> teach. The public names stand in ``__init__.pyi``
by room, and are loaded on first use, so that ``import ridethrough`` is quick.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
