from pathlib import Path

from django.apps import AppConfig


class CrewsConfig(AppConfig):
    name = "crews"
    label = "crews"

    def ready(self) -> None:
        from equipment.site.runs import load_kinds

        load_kinds(self.name, Path(self.path))
