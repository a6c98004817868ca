"""The service's settings and, beside its addresses, those of the references."""

from config.settings import *  # noqa: F403

ROOT_URLCONF = "tests.benchmarks.sync_urls"
