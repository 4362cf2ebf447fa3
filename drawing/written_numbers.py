"""Numbers as people write them: `7-1/2`, `7 ½`, `0,5`, `190.5`."""

import re
from fractions import Fraction

from drawing.errors import DrawingError

# Nobody writes a length of more characters; a bound keeps hostile input out of the number parser.
LONGEST_TEXT = 80

_VULGAR = {
    "½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5", "⅘": "4/5",
    "⅙": "1/6", "⅚": "5/6", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8", "⅐": "1/7", "⅑": "1/9", "⅒": "1/10",
}  # fmt: skip

_LOOKALIKES = str.maketrans(
    {
        "′": "'", "’": "'", "‘": "'", "ʹ": "'", "´": "'", "`": "'",
        "″": '"', "”": '"', "“": '"', "„": '"', "ʺ": '"', "〃": '"',
        "×": "x", "✕": "x", "✖": "x", "∶": ":", "⁄": "/", "∕": "/", "÷": "/",
        "−": "-", "–": "-", "‐": "-", "‑": "-", "—": "-",
        "\u00a0": " ", "\u2009": " ", "\u202f": " ", "\u2007": " ", "\t": " ",
        "％": "%", "﹢": "+",
    }
)  # fmt: skip

# Several points or commas match as well, so that `1,234,567` is told from no number at all.
_DECIMAL = r"(?:[0-9]+(?:[.,][0-9]+)*|[.,][0-9]+)"
NUMBER = rf"(?:[0-9]+(?:-|\s+)[0-9]+\s*/\s*[0-9]+|[0-9]+\s*/\s*[0-9]+|{_DECIMAL})"
"""Regular expression for a number as `parse_number` reads it: mixed, fraction or decimal."""

_MIXED = re.compile(r"(?:([0-9]+)(?:-|\s+))?([0-9]+)\s*/\s*([0-9]+)")
_GROUPED = re.compile(r"[1-9][0-9]{0,2}(?:,[0-9]{3})+")


def plain_signs(text: str) -> str:
    """Give text with primes, quotes, dashes, ½ signs and the like replaced by their plain keyboard forms.

    `7½` becomes `7 1/2`; runs of spaces become one; two `'` in a row become `"`.

    Raises
    ------
    DrawingError
        If the text is longer than any number a person writes.
    """
    if len(text) > LONGEST_TEXT:
        raise DrawingError(
            f"Found {len(text)} characters where a number was needed, which takes at most {LONGEST_TEXT}: "
            "write just the number and its unit."
        )
    for sign, fraction in _VULGAR.items():
        text = text.replace(sign, f" {fraction}")
    text = text.translate(_LOOKALIKES).replace("''", '"')
    # `7- 1/2` and `7-½` are the hyphenated form.
    return re.sub(r"(?<=[0-9])- (?=[0-9]+/)", "-", re.sub(r"\s+", " ", text)).strip()


def parse_number(text: str) -> Fraction:
    """Give the exact value of a number above or at zero in plain signs (see `plain_signs`).

    Takes `7-1/2`, `7 1/2`, `1/2`, `190.5`, `190,5`. A comma is a decimal comma; `1,234`, which could be
    a thousand or one and a bit, is refused.

    Raises
    ------
    DrawingError
        If the text is no number, is ambiguous, or divides by zero.
    """
    text = text.strip()
    if _GROUPED.fullmatch(text):
        raise DrawingError(
            f'"{text}" may be {text.replace(",", "")} or {text.replace(",", ".", 1)}; a number must have one meaning: '
            "write it without a comma, with a point for decimals."
        )
    if re.fullmatch(r"[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+", text):
        return Fraction(text.replace(",", "."))
    mixed = _MIXED.fullmatch(text)
    if mixed is None:
        raise DrawingError(f'"{text}" is not a number as 7-1/2, 7.5 or 1/2 are: type it again.')
    whole, above, below = int(mixed[1] or 0), int(mixed[2]), int(mixed[3])
    if below == 0:
        raise DrawingError(
            f'"{text}" divides by zero; the lower number of a fraction must be above zero: type it again.'
        )
    if mixed[1] is not None and above >= below:
        raise DrawingError(
            f'The fraction of "{text}" is one or more; after a whole number it must be below one, as in 7-1/2: '
            "type it again."
        )
    return whole + Fraction(above, below)
