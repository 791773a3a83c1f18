"""Print, as constraints for pip, the lowest version of everything that the kit depends on."""

import tomllib
from pathlib import Path

project = tomllib.loads(Path("pyproject.toml").read_text("utf-8"))["project"]
print("\n".join(wanted.replace(">=", "==") for wanted in project["dependencies"]))
