"""Colours by meaning, in a light and a dark set, and what they are called on a page.

Pages get them as CSS custom properties (`css_variables`), figures refer to them as `var(--name)`
and the page's script puts in what holds at that moment, mails use `LIGHT` itself, because a mail
knows no custom properties. Heat that was delivered is amber, what was expected is drawn as an
outline in slate, what went wrong is plum: three hues that stay apart in every common form of
colour blindness, and each also has its own shape.
"""

from dataclasses import dataclass, fields


@dataclass(frozen=True, slots=True, kw_only=True)
class Palette:
    """One set of colours, each named by what it means.

    Attributes
    ----------
    ground, surface, sunken : page, card upon it, field let into it
    ink, quiet, line : text, second text (both readable), rules and frames
    delivered, delivered_soft, delivered_ink : heat that arrived: fill, its band, and as text
    expected, expected_soft : what a healthy collector would have given
    design : what was promised
    finding, finding_soft, finding_ink : what went wrong and what it cost
    link, focus : what can be pressed, and where the keyboard stands
    hot, cold, store, ambient, flow, pump, sun : channels in day curves
    """

    ground: str
    surface: str
    sunken: str
    ink: str
    quiet: str
    line: str
    delivered: str
    delivered_soft: str
    delivered_ink: str
    expected: str
    expected_soft: str
    design: str
    finding: str
    finding_soft: str
    finding_ink: str
    link: str
    focus: str
    hot: str
    cold: str
    store: str
    ambient: str
    flow: str
    pump: str
    sun: str


LIGHT = Palette(
    ground="#f1f4f3",
    surface="#fcfdfc",
    sunken="#e5ebe9",
    ink="#12282d",
    quiet="#4a5f64",
    line="#c6d1cf",
    delivered="#d18700",
    delivered_soft="#f6dfae",
    delivered_ink="#7a4b00",
    expected="#5a7379",
    expected_soft="#bfcfce",
    design="#1f6f8b",
    finding="#8a2a66",
    finding_soft="#f3dfea",
    finding_ink="#7a1f58",
    link="#0d5c75",
    focus="#0b6f92",
    hot="#b4451f",
    cold="#1f6f8b",
    store="#6b5b95",
    ambient="#6f7f83",
    flow="#1d7d6c",
    pump="#12282d",
    sun="#8a7c00",
)

DARK = Palette(
    ground="#0d191d",
    surface="#14242a",
    sunken="#0a1316",
    ink="#e7eeec",
    quiet="#a3b5b8",
    line="#2c4047",
    delivered="#eda62f",
    delivered_soft="#5a4112",
    delivered_ink="#f4c062",
    expected="#8fa8ad",
    expected_soft="#38525a",
    design="#6fc0dc",
    finding="#e58fc1",
    finding_soft="#40223a",
    finding_ink="#f0a9d1",
    link="#7cc9e2",
    focus="#8fd6ee",
    hot="#f08a5d",
    cold="#6fc0dc",
    store="#b7a6e6",
    ambient="#93a6aa",
    flow="#63c9b3",
    pump="#e7eeec",
    sun="#d6cb57",
)

FONT_STACK = (
    '"Atkinson Hyperlegible Next", Seravek, "Gill Sans Nova", Ubuntu, Calibri, "Segoe UI", '
    '"DejaVu Sans", sans-serif'
)


def css_variables() -> str:
    """Give both palettes as custom properties; the reader's system chooses."""

    def block(palette: Palette) -> str:
        return "".join(f"--{_css_name(n)}:{getattr(palette, n)};" for n in _names())

    return (
        f":root{{color-scheme:light dark;{block(LIGHT)}}}"
        f"@media (prefers-color-scheme:dark){{:root{{{block(DARK)}}}}}"
        f"@media print{{:root{{color-scheme:light;{block(LIGHT)}}}}}"
    )


def var(name: str) -> str:
    """Give the reference that stands for a colour in figures and drawings: `var(--name)`."""
    if name not in _names():
        raise KeyError(name)
    return f"var(--{_css_name(name)})"


def _names() -> tuple[str, ...]:
    return tuple(item.name for item in fields(Palette))


def _css_name(name: str) -> str:
    return name.replace("_", "-")
