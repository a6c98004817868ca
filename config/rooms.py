"""Where the rooms are: what each holds is found by its file name, so that wiring needs no lists."""

from pathlib import Path

BASE_DIR = Path(__file__).resolve().parent.parent
APPS = ("equipment", "crews", "schedules")


def room_folders(name: str) -> list[Path]:
    """Folders called `name` of the rooms, top app first: an upper room's template wins."""
    return [path for app in reversed(APPS) for path in sorted((BASE_DIR / app).glob(f"*/{name}"))]


def room_modules(name: str) -> list[str]:
    """Dotted names of the rooms that have a module or package called `name`, ground floor first."""
    found = {
        f"{app}.{path.parent.name}"
        for app in APPS
        for pattern in (f"*/{name}.py", f"*/{name}/__init__.py")
        for path in (BASE_DIR / app).glob(pattern)
    }
    return sorted(found, key=lambda dotted: (APPS.index(dotted.split(".")[0]), dotted))
