"""Have loops compiled before a search is waited for: `python -m config.compile_loops`."""

import os

from config import compiled_code

if __name__ == "__main__":
    os.nice(10)  # whatever else starts goes first
    compiled_code.choose_folder()
    from crews.roster.calc import lines, refit
    from schedules.dayplan.calc.search import first

    lines.use_once()
    refit.use_once()
    first.use_once()
