"""What the workbook says to the person who fills it in."""


def instructions(series: str, file: str) -> tuple[str, ...]:
    """Say how a workbook is filled in and handed back.

    Parameters
    ----------
    series : str
        Name of the series.
    file : str
        Name of the workbook.
    """
    return (
        "How to fill this in",
        "1. On the sheet Grades, choose or write your name beside 'Who grades'.",
        "2. Find the patch by the tile's number and the place on it: T7-3 is tile 7, place 3.",
        "3. Choose a number for each thing that is graded; the words are below. Only whole "
        "numbers.",
        "4. Leave blank what you have not seen. A blank never erases anything.",
        "5. On the sheet Firings, write the minutes in the heat, such as 1.5. Under Heat write "
        "kiln or torch, and how hot: °C or °F, or the colour you saw, such as 'torch, orange'. On "
        "the sheet Accidents, write what was chipped, dropped or mis-sifted: it is data too, and "
        "a lost tile teaches.",
        f"6. Save as .xlsx and hand it back with: kit enter {series} {file} - or whatever you "
        "have called your copy. You will see what is new, what changes an earlier grade and what "
        "is wrong before anything is written.",
        "Several people may each fill in a copy. To correct a grade, type the new one and hand "
        "the file in again; the old grade is kept beside it.",
        "Grade in good, even light, with your glasses on; samples can have sharp edges. Wash your "
        "hands after handling them, and keep them away from food and children.",
        "",
    )
