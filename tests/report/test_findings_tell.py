"""Every finding of the program tells what it does to the longest part and the cheapest remedy, or why it cannot."""

import ast
import re
from pathlib import Path

import pytest

from calibration import findings_words as words
from calibration.blunders import Fault
from calibration.observations import Corners, KnownDistance
from calibration.problem import Suspect, What
from drawing.findings import Finding

ROOT = Path(__file__).parents[2]

OVER_THE_LONGEST = {
    "given-left-out", "given-disagree", "misfit", "not-flat", "paper-bent", "stretch", "shear", "one-direction-known",
    "short-reference", "nothing-checks", "lens-not-solved", "two-views", "check-length-off", "tag-differs",
    "unit-doubtful", "focal-length-doubted", "stretched-or-wrong", "cards-not-flat", "few-cards", "tilt-about-one-side",
    "flatness-unseen",
}  # fmt: skip
"""Findings about the scale: what they do to a length is told in mm over the longest part."""

WHY_NOT = {
    "perhaps-bent": "told in mm over the two places that it changes most",
    "two-bends": "told in mm over the two places that it changes most",
    "card-left-out": "nothing rests on it any more",
    "card-not-flat": "nothing rests on it any more",
    "card-partly-seen": "what shows of it is used",
    "card-twice": "nothing rests on it",
    "cards-found": "good news",
    "cards-printed-off": "taken out",
    "cards-size-taken": "the size of the print is the whole scale: told as such",
    "lens-unheard-of": "what is wrong is not known, so neither is by how much",
    "notch-widths": "widths to check the wood against; changes no length",
    "plan-taken-full-size": "any factor is possible: told as such",
    "page-size-taken": "tells the whole page's size; there are no parts yet",
    "page-lines": "where lines were taken from; changes no length",
    "page-as-picture": "where lines were taken from; changes no length",
    "pdf-user-unit": "comes before there is any length",
    "pdf-cut-short": "parts are missing, not off",
    "picture-damaged": "parts are missing, not off",
    "coarse-page": "tells the dpi; there is no scale yet",
    "tones-stretched": "changes no place",
    "blueprint": "changes no place",
    "squared-paper": "what was left out; changes no length",
    "inks": "which lines go together; changes no length",
    "shown-through": "what was left out; changes no length",
    "names-read": "names; changes no length",
    "border-or-part": "a part may be missing, not off",
    "picture-kind": "tells what was taken and how to say otherwise",
    "kind-not-used": "changes nothing",
    "paper-edge-offered": "not used",
    "straight-without-ink": "not used",
    "mark-moved": "tells px; the ends' own error is in every give or take",
    "mark-as-given": "the same",
    "mark-off-ink": "the same",
    "mark-unsure": "the same",
    "crosses-break": "how much is left out at a break is not in the picture: told as such",
    "ends-alike": "tells heights from the other end; changes none",
    "pages-added": "paper, not lengths",
    "pages-laid-anew": "paper, not lengths",
    "no-outline": "there is no part",
    "lines-lost": "parts are missing, not off",
    "letters-alone": "an opening may be missing, not off",
    "region-cut": "parts are missing, not off",
    "curve-tolerance": "told in mm for every curve",
    "outline-crosses-itself": "one outline; to be looked at",
    "outline-unsure": "whether it is a part, not how long",
    "choice-unmatched": "which part, not how long",
}
"""Findings that change no length, or of which none is known: why no effect is told."""

REMEDY = re.compile(
    r"\b(check|correct|mark|measure|give|flatten|take in|step back|scan|type|confirm|say|print|lay|press)\b",
    re.IGNORECASE,
)


def codes_in_the_program() -> dict[str, str]:
    """Every literal code, and the file it stands in."""
    found = {}
    for path in sorted(ROOT.glob("*/*.py")):
        if path.parts[-2] in {"tests", "benchmarks"}:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding" and node.args:
                code = node.args[0]
                if isinstance(code, ast.Constant):
                    found[str(code.value)] = str(path.relative_to(ROOT))
    return found


def test_every_code_is_thought_of() -> None:
    found = codes_in_the_program()

    assert len(found) > 30
    assert set(found) - OVER_THE_LONGEST - set(WHY_NOT) == set(), "tell its effect over the longest part, or why not"
    assert not OVER_THE_LONGEST & set(WHY_NOT)


LONGEST_MM = 640.0
KNOWN = KnownDistance((0, 0), (100, 0), 100.0, text="100 mm", label="known distance 1")
CORNERS = Corners(((0, 0), (100, 0), (100, 80), (0, 80)), 420.0, 297.0)


def told() -> list[Finding]:
    """Every finding about the scale, with figures made up."""
    given = [KNOWN, CORNERS]
    length = Fault(Suspect(What.KNOWN, 0), 100.0, 102.0, 0.02)
    corner = Fault(Suspect(What.CORNER, 1, 2), 4.2, 0.0, 0.01)
    return [
        words.left_out(length, given, spare=3.0, longest_mm=LONGEST_MM),
        words.left_out(corner, given, spare=3.0, longest_mm=LONGEST_MM),
        words.disputed([length, corner], given, longest_mm=LONGEST_MM),
        words.misfit(9.0, 1.5),
        words.not_flat("the border's upper side", 1.2, 2.0),
        words.laid_flat(6.0, 0.7, LONGEST_MM),
        words.stretched(0.005, LONGEST_MM),
        words.sheared(0.4, 0.6, 0.02, LONGEST_MM),
        words.one_direction("up the plan", 3.0, LONGEST_MM),
        words.weak(2.0, LONGEST_MM, 60.0),
        words.unchecked("known distance 1", LONGEST_MM),
        words.lens_unsolved(3.0, LONGEST_MM),
        words.two_views(5.0, LONGEST_MM),
        words.check_off("check length 1", 2.0, 0.5, 0.02, LONGEST_MM),
        words.tag_differs(300.0, 203.2, LONGEST_MM),
        words.absurd_size(9000.0, None, LONGEST_MM),
    ]


@pytest.mark.parametrize("finding", told(), ids=lambda finding: finding.code)
def test_a_finding_about_the_scale_tells_mm_over_the_longest_part_and_a_remedy(finding: Finding) -> None:
    assert finding.code in OVER_THE_LONGEST
    assert re.search(r"[\d.]+ mm", finding.text)
    assert "longest part" in finding.text or f"{LONGEST_MM:.1f} mm" in finding.text
    assert REMEDY.search(finding.text)


def test_effects_are_the_parts_of_the_longest_part() -> None:
    by_code = {finding.code: finding.text for finding in told()}

    # By hand: 2 % of 640 mm; a percent of it; 640 mm by a file's dpi that is 300 / 203.2 times too large.
    assert "12.8 mm" in by_code["given-disagree"]
    assert "12.8 mm" in by_code["check-length-off"]
    assert "6.4 mm over the longest part" in by_code["nothing-checks"]
    assert "433.5 mm" in by_code["tag-differs"]
    assert "6.4 mm" in by_code["given-left-out"]
