"""Every command, sent to the real program, undone and redone by the page's own buttons."""

import tomllib
from typing import Any

from tests.tracing.page.builder import wait_for
from tests.tracing.page.conftest import Sit
from tracing.commands import COMMANDS

Command = dict[str, Any]


def _mark(x: float, y: float, *, snap: bool = False) -> Command:
    return {"x_px": x, "y_px": y, "snap": snap}


def _ends(x: float, y: float) -> Command:
    return {"start": _mark(x, y), "end": _mark(x + 500, y + 20)}


TRACE = {"start_px": [300, 300], "cubics_px": [[[330, 310], [360, 320], [400, 300]]], "closed": False}
OUTLINE = {"inside_px": [400.0, 640.0], "area_px2": 200_000.0}
BOX = [[100, 100], [900, 100], [900, 800], [100, 800]]

SENT: list[Command] = [
    {"do": "add_known", **_ends(320, 799), "text": "80 mm"},
    {"do": "set_known", "index": 0, "text": "81 mm"},
    {"do": "remove_known", "index": 0},
    {"do": "add_check", **_ends(320, 479), "text": "82 mm"},
    {"do": "set_check", "index": 0, "end": _mark(700, 500)},
    {"do": "remove_check", "index": 0},
    {
        "do": "set_corners",
        "marks": [_mark(80, 80), _mark(1440, 80), _mark(1440, 960), _mark(80, 960)],
        "size_text": "170 x 110 mm",
    },
    {"do": "move_corner", "index": 2, "mark": _mark(1439, 959)},
    {"do": "clear_corners"},
    {"do": "set_across", **_ends(320, 799)},
    {"do": "clear_across"},
    {"do": "add_straight", **_ends(320, 799)},
    {"do": "set_straight", "index": 0, "start": _mark(321, 799)},
    {"do": "remove_straight", "index": 0},
    {"do": "ignore", "what": "drawn border", "on": True},
    {"do": "add_trace", **TRACE},
    {"do": "move_trace_node", "index": 0, "node": 1, "to": [410, 305]},
    {"do": "set_trace", "index": 0, **TRACE, "start_px": [290, 300]},
    {"do": "remove_trace", "index": 0},
    {"do": "choose", **OUTLINE, "action": "drop"},
    {"do": "rename", **OUTLINE, "name": "PLATE"},
    {"do": "unchoose", "index": 0},
    {"do": "add_region", "points_px": BOX, "keep": "in"},
    {"do": "set_region", "index": 0, "keep": "out"},
    {"do": "remove_region", "index": 0},
    {"do": "rub", "points_px": [[1100, 600], [1200, 600]], "width_px": 20},
    {"do": "remove_rub", "index": 0},
    {"do": "set_fraction", "text": "1/2"},
    {"do": "set_build_length", **_ends(320, 799), "text": "40 mm"},
    {"do": "set_mirrored", "on": True},
    {"do": "set_lines_only", "on": True},
    {"do": "set_paper", "name": "A3"},
    {"do": "set_margin", "text": "8 mm"},
    {"do": "set_overlap", "text": "12 mm"},
    {"do": "set_grid", "origin_mm": [-3.5, 4.25], "landscape": True},
    {"do": "clear_grid"},
    {"do": "set_page", "page": 2},
    {"do": "set_kind", "kind": "scan"},
    {"do": "set_drawn_at", "text": "1/4"},
    {"do": "set_card_bar", "text": "199.4 mm"},
    {"do": "set_trust_size", "on": True},
    {"do": "set_dpi", "value": 203.2},
    {"do": "add_measure", "kind": "length", "marks": [_mark(100, 100), _mark(400, 100)], "note": "first"},
    {"do": "set_measure", "index": 0, "note": "second"},
    {"do": "remove_measure", "index": 0},
    {"do": "set_notes", "text": "balsa\nglue"},
    {"do": "set_name", "text": "another"},
]


def test_undoing_every_command_gives_the_first_job_and_redoing_the_last(sit: Sit) -> None:
    assert [command["do"] for command in SENT] == list(dict.fromkeys(command["do"] for command in SENT))
    assert {command["do"] for command in SENT} == set(COMMANDS)
    with sit() as desk:
        builder, page = desk.builder, desk.builder.page
        wait_for((desk.folder / "job.toml").exists, words="job.toml")
        at = f"{'/'.join(page.url.split('/')[:3])}/api/job/{builder.key}"
        jobs = [builder.view()["job"]]
        first = desk.toml

        for command in SENT:
            answer = page.request.post(f"{at}/command", data={"base": builder.view()["revision"], "command": command})
            assert answer.ok, (command, answer.text())
            jobs.append(answer.json()["job"])
            assert jobs[-1] != jobs[-2], command
        last = desk.stored(lambda toml: toml["name"] == "another")
        back = [_pressed(desk.builder, "Undo") for _ in SENT]
        undone = desk.stored(lambda toml: toml == first)
        forth = [_pressed(desk.builder, "Redo") for _ in SENT]
        redone = desk.stored(lambda toml: toml == last)

        assert back == jobs[-2::-1]
        assert forth == jobs[1:]
        assert undone == first
        assert redone == last == tomllib.loads((desk.folder / "job.toml").read_text("utf-8"))
        assert builder.errors == []


def _pressed(builder: Any, name: str) -> Any:
    """Press a button of the head and give the job once it is another one."""
    before = builder.view()["revision"]
    builder.page.locator("#head").get_by_role("button", name=name).click()
    return wait_for(lambda: view if (view := builder.view())["revision"] > before else None)["job"]
