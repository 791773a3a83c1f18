"""The commands. Each is a few lines over the same calls that the notebooks make."""

import sys

from kit.cli.grade_commands import GRADE_COMMANDS
from kit.cli.plan_commands import PLAN_COMMANDS
from kit.cli.record_commands import RECORD_COMMANDS
from kit.cli.report_commands import REPORT_COMMANDS, demo
from kit.cli.shared import Commands
from kit.errors import DataProblems, Misuse, NotebookFailed

app = Commands(help="Plan, fire, grade and understand test tiles of leaded and unleaded enamel.")
for command in (demo, *PLAN_COMMANDS, *GRADE_COMMANDS, *REPORT_COMMANDS, *RECORD_COMMANDS):
    app.command()(command)


def main() -> None:
    """Run a command; exit with 1 for problems in the data and 2 for misuse."""
    try:
        app()
    except (DataProblems, NotebookFailed) as failure:
        _fail(str(failure), code=1)
    except Misuse as misuse:
        _fail(str(misuse), code=2)


def _fail(message: str, code: int) -> None:
    print(message, file=sys.stderr)
    sys.exit(code)
