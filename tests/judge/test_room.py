"""The room's doors: what it imports, and how quickly it loads."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import bench.judge

ROOM = Path(bench.judge.__file__).parent
MODULES = sorted(path.stem for path in ROOM.glob("*.py") if path.stem != "__init__")


@pytest.mark.parametrize("module", MODULES)
def test_imports_only_the_ground_floor_the_standard_library_and_what_values_are_made_of(module):
    # a value as a struct is defined in a thirtieth of the time that the standard library takes for one
    tree = ast.parse((ROOM / f"{module}.py").read_text())
    for node in ast.walk(tree):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0
            names = [node.module]
        for name in names:
            ours = name.startswith(
                ("bench.judge.", "bench.say.", "bench.once", "bench.quantity", "bench.files", "msgspec")
            )
            assert ours or name.split(".")[0] in sys.stdlib_module_names, (module, name)


def test_no_heavy_library_is_loaded_by_judging():
    # msgspec is: it makes the values
    code = (
        "import sys\n"
        + "".join(f"import bench.judge.{module}\n" for module in MODULES)
        + "heavy = {'numpy', 'scipy', 'textual', 'pyvisa', 'yaml', 'asyncio'} & set(sys.modules)\n"
        "sys.exit(f'loaded {heavy}' if heavy else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
