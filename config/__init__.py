"""How Penround is started. Loads the Celery app, so that every `shared_task` binds to it."""

from config.celery import app as celery_app

__all__ = ["celery_app"]
