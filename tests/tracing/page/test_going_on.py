"""Nothing is lost: programs that end or are killed, second tabs, hand edits, moved pictures, stopped exports."""

import hashlib
import shutil

from PIL import Image

from tests.tracing.page.builder import Builder
from tests.tracing.page.conftest import Desk, Sit

RESULTS = ("outlines.svg", "outlines.dxf", "outlines_arcs.dxf", "pages.pdf", "flat.png", "report.html", "report.json")


def _size(desk: Desk, text: str) -> None:
    """Say the fraction, and wait until the page offers to undo it: then the program has it."""
    desk.builder.step("Size and pages")
    desk.builder.page.locator("#card").get_by_role("button", name=text, exact=True).click()
    desk.builder.until_undo_says(f"Set the size to {text}")


def _hashes(desk: Desk) -> dict[str, str]:
    return {name: hashlib.sha256((desk.folder / name).read_bytes()).hexdigest() for name in RESULTS}


def test_closed_and_started_again_it_goes_on_undo_included(sit: Sit) -> None:
    with sit() as desk:
        desk.known()
        _size(desk, "1/2")

    with sit() as desk:
        desk.builder.until_undo_says("Set the size to 1/2")
        desk.builder.until_settled()
        undo = desk.builder.page.locator("#head").get_by_role("button", name="Undo")
        undo.click()
        desk.builder.until_undo_says("Put the known distance 80 mm")
        assert desk.stored(lambda toml: toml["build"]["fraction"] == "1")["observations"][0]["length"] == "80 mm"
        undo.click()
        assert "observations" not in desk.stored(lambda toml: "observations" not in toml)


def test_killed_it_loses_only_the_gesture_in_progress(sit: Sit) -> None:
    with sit() as desk:
        desk.known()
        desk.builder.step("Set the scale")
        desk.builder.press("Mark another length")
        desk.builder.whole()
        desk.builder.click(desk.plan.px(20, 60))
        desk.builder.page.locator("#head").get_by_role("button", name="Size and pages").click()
        _size(desk, "1/3")
        # At once, before job.toml is written a second later.
        desk.program.kill()
        assert desk.toml["build"]["fraction"] == "1"
        desk.builder.until(
            lambda: "The program does not answer" in desk.builder.page.locator("#notices").inner_text(), "the notice"
        )

    with sit() as desk:
        desk.builder.until_undo_says("Set the size to 1/3")
        toml = desk.stored(lambda toml: toml["build"]["fraction"] == "1/3")
        assert [item["length"] for item in toml["observations"]] == ["80 mm"]


def test_a_second_tab_sees_what_the_first_does(sit: Sit) -> None:
    with sit() as desk:
        second = Builder(desk.builder.page.context.new_page())
        second.page.goto("/".join(desk.builder.page.url.split("/")[:3]) + "/")
        second.until_card_says("Is this the plan?")
        second.step("Size and pages")

        _size(desk, "2/3")
        second.until_undo_says("Set the size to 2/3")
        field = second.page.locator("#card").get_by_label("Part of full size")
        second.until(lambda: field.input_value() == "2/3", "the field")
        second.page.locator("#head").get_by_role("button", name="Undo").click()

        own = desk.builder.page.locator("#card").get_by_label("Part of full size")
        desk.builder.until(lambda: own.input_value() == "1", "the first tab")
        assert desk.stored(lambda toml: toml["build"]["fraction"] == "1")
        assert desk.builder.errors == second.errors == []


def test_a_job_file_changed_by_hand_is_asked_about_and_never_written_over(sit: Sit) -> None:
    with sit() as desk:
        file = desk.folder / "job.toml"
        _size(desk, "1/2")
        desk.stored(lambda toml: toml["build"]["fraction"] == "1/2")
        dialog = desk.builder.page.get_by_role("dialog")

        by_hand = file.read_text("utf-8").replace('notes = ""', 'notes = "written by hand"')
        file.write_text(by_hand, "utf-8")
        _size(desk, "1/3")
        dialog.wait_for()
        asked = file.read_text("utf-8")
        dialog.get_by_role("button", name="Keep mine").click()
        mine = desk.stored(lambda toml: toml["build"]["fraction"] == "1/3")
        kept = (desk.folder / "job.toml.theirs-1").read_text("utf-8")

        again = file.read_text("utf-8").replace('notes = ""', 'notes = "once more"')
        file.write_text(again, "utf-8")
        _size(desk, "1/4")
        dialog.wait_for()
        dialog.get_by_role("button", name="Take the changed file").click()
        desk.builder.step("Measure")
        notes = desk.builder.page.locator("#card").get_by_label("Notes on the whole job")
        desk.builder.until(lambda: notes.input_value() == "once more", "the notes")

        assert asked == by_hand
        assert kept == by_hand
        assert mine["notes"] == ""
        assert file.read_text("utf-8") == again
        assert desk.builder.view()["job"]["fraction"] == "1/3"


def test_a_picture_that_moved_is_said_and_found_elsewhere(sit: Sit) -> None:
    with sit() as desk:
        desk.known()
    moved = desk.cwd / "pictures"
    moved.mkdir()
    shutil.move(desk.cwd / "small.png", moved / "other name.png")
    Image.new("L", (400, 300), 250).save(moved / "wrong.png")

    with sit("small-scantling/job.toml") as desk:
        desk.builder.step("Open")
        desk.builder.until_card_says("The picture is not to be had. Where is it?")
        desk.builder.fill("Where is the picture now?", str(moved / "wrong.png"))
        desk.builder.until_card_says("wrong.png is not the picture this job was marked on")
        desk.builder.fill("Where is the picture now?", str(moved / "other name.png"))
        desk.builder.until_settled()

        toml = desk.stored(lambda toml: "other name" in toml["sheets"][0]["file"])
        assert toml["sheets"][0]["file"] == "../pictures/other name.png"
        assert toml["observations"][0]["length"] == "80 mm"


def test_a_stopped_export_leaves_the_files_as_they_were(sit: Sit) -> None:
    with sit() as desk:
        desk.known()
        desk.builder.step("Export")
        make = desk.builder.page.locator("#card").get_by_role("button", name="Make")
        desk.builder.until(make.is_enabled, "the button")
        make.click()
        desk.builder.until_card_says("Done. Print one page first.")
        before = _hashes(desk)

        _size(desk, "1/2")
        desk.builder.step("Export")
        desk.builder.until(make.is_enabled, "the button")
        make.click()
        desk.builder.page.locator("#card").get_by_role("button", name="Stop").click()
        desk.builder.until_card_says("Stopped; nothing was changed.")

        assert _hashes(desk) == before
        # Nothing half-written stays behind.
        assert {path.name for path in desk.folder.iterdir()} - {*RESULTS, "job.lock"} == {
            "job.toml",
            "job.history.jsonl",
        }
