"""Have the plan's loops compiled before a plan is waited for: `python -m config.compile_loops`."""

import os

from config import compiled_code

if __name__ == "__main__":
    os.nice(10)  # whatever else starts goes first
    compiled_code.choose_folder()
    from schedules.dayplan.calc.search.first import use_once

    use_once()
