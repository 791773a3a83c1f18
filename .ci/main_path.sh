#!/usr/bin/env bash
# The main job from the built wheel, in a folder of its own away from this checkout.
# Usage: main_path.sh PYTHON [CONSTRAINTS]: which Python, and which versions if not the newest.
set -euo pipefail
python=$1
constraints=${2:-/dev/null}
here=$(cd "$(dirname "$0")/.." && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

"$python" -m venv "$work/venv"
"$work/venv/bin/python" -m pip wheel --quiet --no-deps --wheel-dir "$work" "$here"
"$work/venv/bin/python" -m pip install --quiet --constraint "$constraints" "$work"/*.whl
mkdir -p "$work/studio/data" && cd "$work/studio"
kit() { "$work/venv/bin/kit" "$@"; }
kit demo
kit new trial
cp data/demo/colours.csv data/trial/colours.csv
kit plan trial --tiles 6 --yes
kit sheets trial --workbook --photo-card
"$work/venv/bin/python" "$here/.ci/fill_in.py" trial
kit enter trial filled-in.xlsx --by Ada --yes
kit check trial
kit photos trial
kit report trial
kit report --all
test -s reports/trial/report.html && test -s reports/index.html
"$work/venv/bin/python" -c "import sys, kit; print('main path:', sys.version.split()[0], kit.__file__)"
