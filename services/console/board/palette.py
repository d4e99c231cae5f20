"""Our colours in both themes, as custom properties of the style sheet. Nothing is told by colour alone."""

THEMES: dict[str, dict[str, str]] = {
    "light": {
        "ground": "#F6F4EE", "lane": "#FFFFFF", "future": "#EFEBE0", "raised": "#FFFFFF",
        "ink": "#1D2733", "soft": "#56606B", "hair": "#DAD6CB", "edge": "#7C8590",
        "beer": "#1D2733", "wanted": "#7D6116", "band": "#F0DFA8", "likely": "#CFCBC0", "other": "#6C7782",
        "compressor": "#2F6690", "heater": "#B5482E", "pump": "#2C7566", "fan": "#6C7782", "valve": "#8A5A8F",
        "load": "#6A5DA0", "load-fill": "#D9D4EA", "bath-fill": "#CFE3DE",
        "alarm": "#A61E4D", "on-alarm": "#FFFFFF", "well": "#2F6F41", "act": "#1F4E79", "on-act": "#FFFFFF",
    },
    "dark": {
        "ground": "#14181D", "lane": "#1B2128", "future": "#171C22", "raised": "#222A32",
        "ink": "#E9E6DC", "soft": "#A5AFB9", "hair": "#2C343D", "edge": "#76818C",
        "beer": "#F2EEE2", "wanted": "#D9B44A", "band": "#4A4222", "likely": "#3A424B", "other": "#8D98A3",
        "compressor": "#6FA8D6", "heater": "#E0805F", "pump": "#62BBA7", "fan": "#8D98A3", "valve": "#C79ACB",
        "load": "#A99FDC", "load-fill": "#37334D", "bath-fill": "#1F3F3A",
        "alarm": "#F07BA0", "on-alarm": "#14181D", "well": "#7BC08D", "act": "#9CC7EC", "on-act": "#14181D",
    },
}  # fmt: skip

TEXT_ON: tuple[tuple[str, str], ...] = (
    ("ink", "ground"), ("ink", "lane"), ("ink", "future"), ("ink", "raised"),
    ("soft", "ground"), ("soft", "lane"), ("soft", "future"), ("soft", "raised"),
    ("wanted", "ground"), ("wanted", "lane"), ("wanted", "future"),
    ("alarm", "ground"), ("alarm", "lane"), ("alarm", "raised"), ("on-alarm", "alarm"),
    ("well", "ground"), ("well", "raised"), ("act", "ground"), ("act", "raised"), ("on-act", "act"), ("ground", "ink"),
)  # fmt: skip
"""Where text of one colour stands on another."""

LINES_ON: tuple[tuple[str, str], ...] = tuple(
    (mark, ground)
    for mark in ("beer", "wanted", "compressor", "heater", "pump", "fan", "valve", "load", "alarm", "edge", "other")
    for ground in ("lane", "future")
)
"""Where a mark that tells something stands on another."""


def style() -> str:
    """The custom properties for both themes; the root element's `data-theme` chooses."""
    return "\n".join(f':root[data-theme="{name}"] {{ {_properties(theme)} }}' for name, theme in THEMES.items())


def _properties(theme: dict[str, str]) -> str:
    return " ".join(f"--{name}: {colour};" for name, colour in theme.items())
