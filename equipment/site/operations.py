"""A migration operation of our own: create many models with one rendering of the state.

Every site-owned model refers to Site, so Django re-renders all of them for each CreateModel:
a first migration of 70 models spent 10 of its 12 seconds on that, and every test run with it.
"""

from typing import Any

from django.db.migrations.operations import CreateModel
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState


class CreateModels(Operation):
    """Several `CreateModel`, each after those it refers to."""

    def __init__(self, models: list[CreateModel]) -> None:
        self.models = models

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        """Add all to a state that is rendered again only when somebody asks for its models."""
        state.__dict__.pop("apps", None)
        for model in self.models:
            model.state_forwards(app_label, state)

    def database_forwards(
        self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any
    ) -> None:
        """Create the tables in order."""
        for model in self.models:
            model.database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(
        self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any
    ) -> None:
        """Drop the tables in the opposite order."""
        for model in reversed(self.models):
            model.database_backwards(app_label, schema_editor, from_state, to_state)

    def describe(self) -> str:
        """Say what it does."""
        return "Create " + ", ".join(model.name for model in self.models)
