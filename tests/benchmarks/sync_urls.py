"""The service's addresses and the references'."""

from config.urls import handler400, handler403, handler404, handler500  # noqa: F401
from config.urls import urlpatterns as ours
from tests.benchmarks.reference_sync import urlpatterns as references

urlpatterns = [*references, *ours]
