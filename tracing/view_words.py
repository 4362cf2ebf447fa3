"""How the page says things: figures with their give or take, how many sheets, and what to do next in its own ways.

Rooms below say what to do next as it is typed in a shell. The page has buttons instead; `on_the_page` puts its words in
place of those, wherever a sentence leaves for the page.
"""

import math
import re
from fractions import Fraction

from drawing.format import format_give

SPOKEN_DENOMINATOR = 64
"""A rule's finest part: a fraction with a larger lower number, as 275/254, tells nobody how large a thing is."""

PAGE_WAYS: tuple[tuple[str, str], ...] = (
    (r"say --kind (photo|scan)", r"choose “A \1” under “Photo or scan” in the step Flatten"),
    (
        r'add --corners "[^"]*" --as-given',
        "mark them with “Mark four corners” in the step Flatten, Alt held so that they stay where you put them",
    ),
    (
        r"add --drawn-at (1/\w+(?:\.\d+)?)",
        r"type it under “I know a length on the paper” in the step Set the scale, as \1",
    ),
    (r"--dpi is ", "The scanner’s resolution is "),
    (r", or leave --card-bar out\.", ", or empty “The cards’ long bar measures” in the step Set the scale."),
    (
        r'add --card-bar "[^"]*" with what it measures, or give a long known distance\.',
        "type what it measures under “Cards lie on the plan”, or mark a long known distance.",
    ),
    (r"say so, as with --drawn-at 1/4\.", "type it under “I know a length on the paper” in the step Set the scale."),
    (
        r"give a known distance with --known, or the scanner's figure with --dpi",
        "mark one you know, or type the scanner’s resolution in the step Set the scale",
    ),
    (r"check one length you know with --known", "mark one length you know"),
    (r"accept the page with --trust-size", "accept the page with “Trust the size the file gives”"),
    (
        r'add --known "A B = 36 in" with two points from `scantling look`',
        "mark its two ends with “Mark a length I know”",
    ),
    (r"take the file's word with --trust-size", "take the file’s word with “Trust the size the file gives”"),
    (r"\(--as-given leaves it where it was put\)", "(hold Alt to leave a mark where you put it)"),
    (r"look at it with `scantling look`", "zoom in and look at it"),
    (r", or change `file` in the job\.", ", or say in the step Open where it is now."),
)
"""What a shell is told, as a pattern, and what the page says instead. A test holds it complete."""


def on_the_page(sentence: str) -> str:
    """Give a sentence with the page's ways in place of the command line's."""
    if "--" not in sentence and "`" not in sentence:
        return sentence
    for shell, page in PAGE_WAYS:
        sentence = re.sub(shell, page, sentence)
    return sentence


def with_give(mm: float, u95_mm: float) -> str:
    """Give a length no finer than its give or take: `990 mm, give or take 0.6 mm`."""
    return f"{plain_mm(mm, u95_mm)}, {give_or_take(u95_mm)}"


def give_or_take(u95_mm: float) -> str:
    """Give `give or take 0.6 mm`, rounded up so that it never promises too much."""
    if not math.isfinite(u95_mm):
        return "give or take unknown"
    return f"give or take {format_give(u95_mm).removeprefix('± ')}"


def plain_mm(mm: float, u95_mm: float) -> str:
    """Give a length in mm with the decimals that its give or take lets count: `990 mm`, `12.7 mm`, `3.05 mm`."""
    digits = 0 if u95_mm >= 5 else 1 if u95_mm >= 0.05 else 2
    figure = f"{mm:.{digits}f}"
    return f"{figure.rstrip('0').rstrip('.') if '.' in figure else figure} mm"


def plain_fraction(fraction: Fraction) -> str:
    """Give `1/2`, `1`, or `49.88 %` where the fraction was computed from a length."""
    if fraction.denominator <= SPOKEN_DENOMINATOR:
        return str(fraction)
    return f"{float(fraction * 100):.4g} %"


def counted(count: int, word: str) -> str:
    """Give `1 sheet`, `12 sheets`."""
    return f"{count} {word}{'' if count == 1 else 's'}"
