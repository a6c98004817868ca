"""What a server loads once is not looked through again for garbage."""

import gc
from importlib import import_module


def settle_heap() -> None:
    """Load all views, then take what is loaded out of the collector's sight for good.

    A full collection of it stops every thread for about a fifth of a second, again and again.
    """
    import_module("config.urls")
    gc.collect()
    gc.freeze()
