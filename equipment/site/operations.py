"""Migration operations of our own: many models at once, and the trigger that dates changes.

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


class StampChanges(Operation):
    """Let the database write `changed_at` of these models' rows: who writes them may forget.

    A row that is written as it was keeps its time. The clock is read as the row is written, so
    that a long transaction does not date its rows back to its beginning.
    """

    reversible = True

    def __init__(self, *models: str) -> None:
        self.models = models

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        """A trigger is nothing that models know of."""

    def database_forwards(
        self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any
    ) -> None:
        """Make the function, which all tables share, and a trigger a table."""
        schema_editor.execute(STAMP_FUNCTION)
        for model in self.models:
            table = to_state.apps.get_model(app_label, model)._meta.db_table
            schema_editor.execute(STAMP_TRIGGER.format(table=table))

    def database_backwards(
        self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any
    ) -> None:
        """Take the triggers away; the function stays for other tables."""
        for model in self.models:
            table = to_state.apps.get_model(app_label, model)._meta.db_table
            schema_editor.execute(f'DROP TRIGGER stamp_change ON "{table}"')

    def describe(self) -> str:
        """Say what it does."""
        return "Date the changes of " + ", ".join(self.models)


# An update sends the stamp along as it read it; only the rest says whether the row is another.
STAMP_FUNCTION = """
CREATE OR REPLACE FUNCTION stamp_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'UPDATE' THEN
        NEW.changed_at := OLD.changed_at;
        IF NEW IS NOT DISTINCT FROM OLD THEN
            RETURN NEW;
        END IF;
    END IF;
    NEW.changed_at := clock_timestamp();
    RETURN NEW;
END $$
"""
STAMP_TRIGGER = """
CREATE TRIGGER stamp_change BEFORE INSERT OR UPDATE ON "{table}"
FOR EACH ROW EXECUTE FUNCTION stamp_change()
"""
