"""The page's modules as one script.

A browser takes some 6 ms for each module it fetches, however near and small: sixty of them were most of a second,
before anything was seen. One script with all of them is there in the time of a few.
"""

import re
from pathlib import Path

IMPORT = re.compile(r'^import \{([^}]*)\} from "(\.{1,2}/[^"]+)";\n', re.MULTILINE)
EXPORT = re.compile(r"^export (?=(?:async function|function|class|const) (\w+))", re.MULTILINE)
OTHER = re.compile(r"^(?:import|export)\b.*|\bimport\s*\(.*|\bimport\.meta\b", re.MULTILINE)
"""What is left of importing and exporting when the two forms that the page uses are taken out."""


def one_script(main: Path) -> str:
    """Give the module `main` and all that it imports as the text of one module.

    Each module becomes a function that is called once, before those that import it, so names stay its own; `main`
    comes last, at the outermost level, where it may wait. Errors are of our own making and raise `ValueError`:
    another way of importing or exporting than `import { a, b as c } from "./x.js";` and `export function` (`async
    function`, `class`, `const`), and modules that import each other in a ring.
    """
    main = main.resolve()
    parts: dict[Path, str] = {}
    _gather(main, main.parent, parts, ())
    return "\n".join(parts.values())


def _gather(module: Path, root: Path, parts: dict[Path, str], asked_by: tuple[Path, ...]) -> None:
    if module in asked_by:
        raise ValueError(f"{module.name} is imported, in the end, by itself: take what both need into a third module")
    if module in parts:
        return
    text = module.read_text(encoding="utf-8")
    for _, name in IMPORT.findall(text):
        _gather((module.parent / name).resolve(), root, parts, (*asked_by, module))

    def taken(found: re.Match[str]) -> str:
        names = found[1].replace(" as ", ": ")
        return f"const {{{names}}} = {_holder((module.parent / found[2]).resolve(), root)};\n"

    given = EXPORT.findall(text)
    body = EXPORT.sub("", IMPORT.sub(taken, text))
    if other := OTHER.search(body):
        raise ValueError(f"{module.name} imports or exports in a way that cannot be put into one script: {other[0]}")
    if asked_by:
        holder = _holder(module, root)
        body = f"const {holder} = (() => {{\n{body}return {{ {', '.join(given)} }};\n}})();\n"
    parts[module] = f"// {module.relative_to(root).as_posix()}\n{body}"


def _holder(module: Path, root: Path) -> str:
    """The name under which the script keeps what a module gives: none that a module would use itself."""
    return "$_" + "_".join(module.relative_to(root).with_suffix("").parts)
