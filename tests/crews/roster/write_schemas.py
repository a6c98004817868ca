"""`python -m tests.crews.roster.write_schemas`: the JSON Schemas of the roster's forms, anew."""

import json

from config.rooms import BASE_DIR
from crews.roster.calc.json_io import schemas


def main() -> None:
    for name, schema in schemas().items():
        path = BASE_DIR / "crews" / "roster" / name
        path.write_text(json.dumps(schema, indent=2, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    main()
