"""Fill in a series' workbook as the invented studio would, and photograph its first tile."""

import sys
from pathlib import Path

import openpyxl

from kit.series import read_series, series_folder
from kit.studio import draw_truth, fire, photograph_series

name = sys.argv[1]
folder = series_folder(name)
series = read_series(folder)
truth = draw_truth(series.colours, 1, loss_rate=0.0)
fired = fire(series, truth, 1)
grades = fired.grades.set_index(["patch", "firing"])

book = openpyxl.load_workbook(Path("reports") / name / "sheets" / f"{name}-grades.xlsx")
sheet = book["Grades"]
rows = list(sheet.iter_rows())
top = next(n for n, row in enumerate(rows) if [c.value for c in row].count("Patch"))
for row in rows[:top]:
    if row[0].value == "Who grades:":
        row[2].value = "Ada"
place = {str(cell.value).split("\n")[0]: n for n, cell in enumerate(rows[top]) if cell.value}
for row in rows[top + 1 :]:
    key = (row[place["Patch"]].value, row[place["Firing"]].value)
    if key in grades.index:
        for heading, column in (("Spread", "spread"), ("Pull-through", "pull_through")):
            row[place[heading]].value = int(grades.at[key, column])
book.save("filled-in.xlsx")
photograph_series(fired, truth, folder, 1, tiles=fired.tiles["tile"][:1], firings=[1])
