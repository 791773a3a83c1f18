"""The colours of a page by what they are for: in light, and in the dark."""

PAGE_COLOURS = {
    "ink": ("#1d2733", "#e9e7e2"),
    "quiet": ("#4d5762", "#b4bcc5"),
    "paper": ("#ffffff", "#15191e"),
    "soft": ("#f6f2ec", "#20262d"),
    "hair": ("#c9ced4", "#414b56"),
    "edge": ("#8a6a57", "#b08a72"),
    "copper": ("#a4552a", "#e0986c"),
    "link": ("#0d4a86", "#8ec1f2"),
    "night": ("#14304f", "#0d1f33"),
    "moon": ("#ffffff", "#f3f1ec"),
    "warned": ("#7a2615", "#f0a893"),
    "warning": ("#fdf3ef", "#33201a"),
}
"""By name, for light and for dark; page.css and part.css know them as --ink, --paper and so on."""
