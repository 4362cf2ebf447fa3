"""The page's modules put into one script: run by Node, against Node's own loading of the modules themselves."""

import shutil
import subprocess
from pathlib import Path

import pytest

from tracing.one_script import one_script
from tracing.static_files import STATIC, page_script

NODE = shutil.which("node")


def _modules(folder: Path, **texts: str) -> Path:
    for name, text in texts.items():
        file = folder / f"{name.replace('__', '/')}.js"
        file.parent.mkdir(exist_ok=True)
        file.write_text(text, "utf-8")
    return folder / "main.js"


def _printed(module: Path) -> str:
    assert NODE is not None
    done = subprocess.run([NODE, "--input-type=module"], input=f'await import("{module.as_uri()}");', text=True,
                          capture_output=True, check=True)  # fmt: skip
    return done.stdout


@pytest.mark.skipif(NODE is None, reason="needs Node")
def test_it_does_what_the_modules_do(tmp_path: Path) -> None:
    # Names that stand in two modules, one that is taken under another name, a module asked for twice and from a
    # folder below, a class, a function that waits, text that speaks of importing.
    main = _modules(
        tmp_path,
        main='import { a as one, Kind } from "./first.js";\nimport {\n  later,\n} from "./below/second.js";\n'
        'const a = "main";\nconsole.log(a, one(), await later(), new Kind().tells, "import { x } from y");\n',
        first='import { count } from "./below/third.js";\nconst own = "first";\nexport function a() {\n'
        "  return own + count();\n}\nexport class Kind {\n  tells = own;\n}\n",
        below__second='import { count } from "./third.js";\nconst own = "second";\n'
        "export async function later() {\n  return own + count();\n}\n",
        below__third="let times = 0;\nexport const count = () => {\n  times += 1;\n  return times;\n};\n",
    )
    whole = tmp_path / "whole.mjs"
    whole.write_text(one_script(main), "utf-8")
    (tmp_path / "package.json").write_text('{"type": "module"}')
    assert _printed(whole) == _printed(main) == "main first1 second2 first import { x } from y\n"


@pytest.mark.parametrize(
    "text",
    ["export default 3;\n", "export let a = 1;\n", "export { a } from './a.js';\n",
     "const a = await import('./a.js');\n", "import * as a from './a.js';\n", "console.log(import.meta.url);\n"],
)  # fmt: skip
def test_another_way_of_importing_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(ValueError, match="cannot be put into one script"):
        one_script(_modules(tmp_path, main=text))


def test_a_ring_of_modules_is_refused(tmp_path: Path) -> None:
    main = _modules(
        tmp_path,
        main='import { a } from "./a.js";\na();\n',
        a='import { b } from "./b.js";\nexport const a = () => b();\n',
        b='import { a } from "./a.js";\nexport const b = () => a();\n',
    )
    with pytest.raises(ValueError, match=r"a\.js is imported, in the end, by itself"):
        one_script(main)


@pytest.mark.skipif(NODE is None, reason="needs Node")
def test_the_pages_own_modules_make_one_script(tmp_path: Path) -> None:
    whole = tmp_path / "page.mjs"
    whole.write_bytes(bytes(page_script().body))
    assert NODE is not None
    subprocess.run([NODE, "--check", whole], check=True)
    # Every module is in it once, but for those that nothing asks for: there are none.
    names = [file.relative_to(STATIC / "js").as_posix() for file in (STATIC / "js").rglob("*.js")]
    assert sorted(line[3:] for line in whole.read_text("utf-8").splitlines() if line[3:] in names) == sorted(names)
